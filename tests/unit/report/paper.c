// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes the made visit's PDF to standard output, for tests that look at it with other readers:
// paper NODES [simulated] [faulty] [letter] [photos FOLDER] [hostile TEXT]
#include "base/number.h"
#include "fixture.h"
#include "report/pdf.h"

int main(int count, char **arguments)
{
    struct fixture_options options = {0};
    enum lw_paper paper = LW_PAPER_A4;
    int64_t nodes;
    struct lw_error error = {0};
    if (count < 2 || lw_number_integer(arguments[1], 1, 1000, &nodes, &error) != LW_OK) {
        fprintf(stderr,
                "paper NODES [simulated] [faulty] [letter] [photos FOLDER] [hostile TEXT]\n");
        return 2;
    }
    options.nodes = (size_t)nodes;
    for (int i = 2; i < count; i++) {
        options.simulated = options.simulated || strcmp(arguments[i], "simulated") == 0;
        options.faulty = options.faulty || strcmp(arguments[i], "faulty") == 0;
        paper = strcmp(arguments[i], "letter") == 0 ? LW_PAPER_LETTER : paper;
        if (strcmp(arguments[i], "photos") == 0 && i + 1 < count) {
            options.photos = arguments[++i];
        }
        if (strcmp(arguments[i], "hostile") == 0 && i + 1 < count) {
            options.hostile = arguments[++i];
        }
    }
    struct fixture *fixture = fixture_new(&options);
    struct lw_document document = {0};
    struct lw_text pdf = {0};
    lw_report_tell(&document, fixture_view(fixture));
    enum lw_status status =
        lw_report_pdf(&document, paper, fixture_view(fixture)->now_utc_ns, &pdf, &error);
    if (status == LW_OK) {
        fwrite(pdf.bytes, 1, pdf.length, stdout);
    } else {
        fprintf(stderr, "paper: %s\n", error.says);
    }
    lw_text_finish(&pdf);
    lw_document_finish(&document);
    fixture_free(fixture);
    return status == LW_OK ? 0 : 1;
}
