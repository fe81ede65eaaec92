// SPDX-License-Identifier: GPL-3.0-or-later
//
// What linewalk report does besides reporting: keys, signatures, the signed paper, verifying,
// lists. Each is a run of the command of its own and returns its exit status.
#ifndef LW_TOOLS_REPORT_SIGN_H
#define LW_TOOLS_REPORT_SIGN_H

#include "cli/cli.h"

struct lw_signing {
    const char *new_key, *owner; // --new-key FILE --owner NAME
    const char *key;             // --sign FILE
    int phrase_descriptor;       // --pass-fd; -1: ask on the terminal
    const char *paper, *shown;   // --attach FILE --digest TEXT
    const char *verify, *signer; // --verify PLACE --signer FINGERPRINT
};

int lw_report_new_key(struct lw_cli *cli, const struct lw_signing *signing);
int lw_report_sign(struct lw_cli *cli, const struct lw_signing *signing);
int lw_report_attach(struct lw_cli *cli, const struct lw_signing *signing);
int lw_report_verify(struct lw_cli *cli, const struct lw_signing *signing);
// Lists of nodes, labels and parts as CSV into a folder, which is made.
int lw_report_export(struct lw_cli *cli, const char *folder);

#endif
