// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes the made visit's page to standard output, for tests that look at it with a browser:
// page NODES [simulated] [faulty] [photos FOLDER] [hostile TEXT]
#include "base/number.h"
#include "fixture.h"
#include "report/report.h"

int main(int count, char **arguments)
{
    struct fixture_options options = {0};
    int64_t nodes;
    struct lw_error error = {0};
    if (count < 2 || lw_number_integer(arguments[1], 1, 1000, &nodes, &error) != LW_OK) {
        fprintf(stderr, "page NODES [simulated] [faulty] [photos FOLDER] [hostile TEXT]\n");
        return 2;
    }
    options.nodes = (size_t)nodes;
    for (int i = 2; i < count; i++) {
        options.simulated = options.simulated || strcmp(arguments[i], "simulated") == 0;
        options.faulty = options.faulty || strcmp(arguments[i], "faulty") == 0;
        if (strcmp(arguments[i], "photos") == 0 && i + 1 < count) {
            options.photos = arguments[++i];
        }
        if (strcmp(arguments[i], "hostile") == 0 && i + 1 < count) {
            options.hostile = arguments[++i];
        }
    }
    struct fixture *fixture = fixture_new(&options);
    struct lw_document document = {0};
    struct lw_text html = {0};
    lw_report_tell(&document, fixture_view(fixture));
    enum lw_status status = lw_report_html(&document, &html, &error);
    if (status == LW_OK) {
        fwrite(html.bytes, 1, html.length, stdout);
    }
    lw_text_finish(&html);
    lw_document_finish(&document);
    fixture_free(fixture);
    return status == LW_OK ? 0 : 1;
}
