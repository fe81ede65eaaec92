// SPDX-License-Identifier: GPL-3.0-or-later
//
// Ohms per kilometre. The table is IEC 60228's maximum at 20 C; sizes under 0.5 mm2 are not in that
// standard.
#include "power/conductor.h"

static const double pi = 3.14159265358979323846;

struct row {
    double area_mm2;
    double plain[2], tinned[2]; // class 1 and 2, class 5 and 6
};

static const struct row rows[] = {
    {0.5, {36.0, 39.0}, {36.7, 40.1}}, {0.75, {24.5, 26.0}, {24.8, 26.7}},
    {1.0, {18.1, 19.5}, {18.2, 20.0}}, {1.5, {12.1, 13.3}, {12.2, 13.7}},
    {2.5, {7.41, 7.98}, {7.56, 8.21}},
};

static double copper_ohm_per_km(double area_mm2)
{
    return 1000.0 * LW_COPPER_OHM_MM2_PER_M / area_mm2;
}

static const struct row *find_row(double area_mm2)
{
    for (size_t i = 0; i < sizeof(rows) / sizeof(*rows); i++) {
        if (fabs(rows[i].area_mm2 - area_mm2) < 1e-9) {
            return &rows[i];
        }
    }
    return NULL;
}

static double area_maximum(const struct lw_conductor *conductor, bool *from_table)
{
    const struct row *row = find_row(conductor->value);
    *from_table = row != NULL;
    if (!row) {
        return LW_STRANDED_FACTOR * copper_ohm_per_km(conductor->value);
    }
    int column = conductor->class_1_2 ? 0 : 1;
    return conductor->tinned ? row->tinned[column] : row->plain[column];
}

double lw_awg_diameter_mm(double awg)
{
    return 0.127 * pow(92.0, (36.0 - awg) / 39.0);
}

static double awg_ohm_per_km(double awg)
{
    double diameter_mm = lw_awg_diameter_mm(awg);
    return copper_ohm_per_km(0.25 * pi * diameter_mm * diameter_mm);
}

static enum lw_status check(const struct lw_conductor *conductor, struct lw_error *error)
{
    double value = conductor->value;
    if (conductor->kind == LW_CONDUCTOR_AWG) {
        return value >= -3.0 && value <= 40.0 && value == floor(value)
                   ? LW_OK
                   : lw_fail(error, LW_BAD_FILE, "AWG %g: must be a whole number from -3 to 40",
                             value);
    }
    return isfinite(value) && value > 0.0
               ? LW_OK
               : lw_fail(error, LW_BAD_FILE, "conductor: must be above 0, is %g", value);
}

enum lw_status lw_conductor_ohm_per_km(const struct lw_conductor *conductor,
                                       enum lw_conductor_end end, double *ohm_per_km,
                                       bool *from_table, struct lw_error *error)
{
    enum lw_status status = check(conductor, error);
    if (status != LW_OK) {
        return status;
    }
    bool known = true;
    double value = conductor->value;
    bool is_maximum = end == LW_CONDUCTOR_MAXIMUM;
    switch (conductor->kind) {
    case LW_CONDUCTOR_AREA:
        *ohm_per_km = is_maximum ? area_maximum(conductor, &known) : copper_ohm_per_km(value);
        break;
    case LW_CONDUCTOR_AWG:
        *ohm_per_km =
            awg_ohm_per_km(value) * (conductor->stranded && is_maximum ? LW_STRANDED_FACTOR : 1.0);
        break;
    case LW_CONDUCTOR_OHM_PER_KM:
        *ohm_per_km = value;
        break;
    }
    if (from_table) {
        *from_table = known;
    }
    return LW_OK;
}

enum lw_status lw_conductor_ohm(const struct lw_conductor *conductor, enum lw_conductor_end end,
                                double length_m, double conductor_c, double *ohm,
                                struct lw_error *error)
{
    if (!isfinite(length_m) || length_m < 0.0) {
        return lw_fail(error, LW_BAD_FILE, "length: must be 0 m or more, is %g m", length_m);
    }
    if (!(conductor_c >= -60.0) || !(conductor_c <= 200.0)) {
        return lw_fail(error, LW_BAD_FILE, "conductor temperature: must be -60 to 200 C, is %g C",
                       conductor_c);
    }
    if (conductor->parallel < 1) {
        return lw_fail(error, LW_BAD_FILE, "parallel conductors: must be 1 or more, is %d",
                       conductor->parallel);
    }
    double per_km;
    enum lw_status status = lw_conductor_ohm_per_km(conductor, end, &per_km, NULL, error);
    if (status == LW_OK) {
        double warmth = 1.0 + LW_COPPER_PER_KELVIN * (conductor_c - 20.0);
        *ohm = per_km * warmth * length_m / 1000.0 / conductor->parallel;
    }
    return status;
}
