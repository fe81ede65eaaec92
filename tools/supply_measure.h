// SPDX-License-Identifier: GPL-3.0-or-later
//
// What is measured of a supply: voltmeters in one state or by a load step, and a hand meter's file.
#ifndef LW_TOOLS_SUPPLY_MEASURE_H
#define LW_TOOLS_SUPPLY_MEASURE_H

#include "checks.h"

// Everything that is borrowed by `measured`.
struct lw_supply_sources {
    struct lw_meter_file hand;
    bool has_hand;
    struct lw_visit earlier;
    struct lw_list earlier_records;
};

// Reads the file of --meter, if one is given, and keeps a copy of it in the visit.
enum lw_status lw_supply_read_hand(struct lw_session *session,
                                   const struct lw_supply_request *request,
                                   struct lw_supply_sources *sources, struct lw_error *error);
// Opens the visit of --against.
enum lw_status lw_supply_open_earlier(struct lw_session *session,
                                      const struct lw_supply_request *request,
                                      struct lw_supply_sources *sources, struct lw_error *error);
// What its voltmeters said, where a roster of both visits shows the same serial. LW_USAGE when
// there is none.
enum lw_status lw_supply_take_earlier(const struct lw_session *session,
                                      const struct lw_supply_sources *sources,
                                      struct lw_supply_measured *measured, struct lw_error *error);
void lw_supply_sources_finish(struct lw_supply_sources *sources);

// Reads the nodes' voltmeters, with --load-step four times over.
enum lw_status lw_supply_read_line(struct lw_session *session,
                                   const struct lw_supply_request *request,
                                   struct lw_supply_measured *measured, struct lw_error *error);

#endif
