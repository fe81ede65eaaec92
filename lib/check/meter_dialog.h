// SPDX-License-Identifier: GPL-3.0-or-later
//
// The dialog of the hand meter: which instrument, then step by step where the tips go.
#ifndef LW_CHECK_METER_DIALOG_H
#define LW_CHECK_METER_DIALOG_H

#include "check/dialog.h"
#include "check/meter.h"

enum lw_meter_part { LW_METER_BOTH, LW_METER_ONLY_OFF, LW_METER_ONLY_ON };

// Its own questions; those from the first step on are one for each of `steps`.
enum lw_meter_ask {
    LW_METER_ASK_NAME,
    LW_METER_ASK_SERIAL,
    LW_METER_ASK_DUE,
    LW_METER_ASK_VOLT_PCT,
    LW_METER_ASK_VOLT_FIXED,
    LW_METER_ASK_OHM_PCT,
    LW_METER_ASK_OHM_FIXED,
    LW_METER_ASK_AMP_PCT,
    LW_METER_ASK_AMP_FIXED,
    LW_METER_ASK_OFF,
    LW_METER_ASK_EARTH,
    LW_METER_ASK_EARTH_BY,
    LW_METER_ASK_EARTH_OHM,
    LW_METER_ASK_ON,
    LW_METER_ASK_STEP,
};

// Plan and steps are borrowed. `result` is what was answered so far, the caller's to free with
// lw_json_free(&lw_meter_shape, ...), also after a stop.
struct lw_meter_dialog {
    struct lw_dialog dialog;
    const struct lw_plan *plan;
    const struct lw_list *steps; // of struct lw_meter_step
    struct lw_list asks;         // of struct: private
    size_t at;
    struct lw_meter_result result;
};

// LW_MEMORY. To be finished in any case.
enum lw_status lw_meter_dialog_init(struct lw_meter_dialog *dialog, const struct lw_plan *plan,
                                    const struct lw_list *steps, enum lw_meter_part part,
                                    struct lw_error *error);
// Leaves the result.
void lw_meter_dialog_finish(struct lw_meter_dialog *dialog);

#endif
