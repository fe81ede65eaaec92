// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which nodes are on is a matter of history: the same chain has many states that hold themselves.
// Here the history is stated and the order fixed, so that the answer does not hang on how a loop
// happens to run.
#include "power/ladder.h"

#include "power/solver.h"

static const size_t nobody = (size_t)-1;

static bool has_load(const struct lw_ladder *ladder, size_t tap)
{
    return ladder->taps[tap].load.kind != LW_LOAD_NONE;
}

static void set_all(const struct lw_ladder *ladder, struct lw_point *point,
                    enum lw_load_state state)
{
    for (size_t i = 0; i < ladder->tap_count; i++) {
        point->load_state[i] = has_load(ladder, i) ? state : LW_LOAD_OFF;
    }
}

// Who goes off next: the largest deficit under drop-out, or without an operating point the lowest
// voltage at the load factor that solves; ties: the highest tap.
static size_t next_to_go(const struct lw_ladder *ladder, const struct lw_point *point)
{
    size_t worst = nobody;
    double worst_v = 0.0;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        double over_v =
            lw_point_volts(point, i) - (point->exists ? ladder->taps[i].load.drop_out_v : 0.0);
        if (point->load_state[i] == LW_LOAD_RUNNING && has_load(ladder, i) &&
            (!point->exists || over_v < 0.0) && (worst == nobody || over_v <= worst_v)) {
            worst = i;
            worst_v = over_v;
        }
    }
    return worst;
}

// Solves and sheds until all that run can. Notes the shed taps where `path` is given; returns how
// many.
static size_t shed(struct lw_solver *solver, struct lw_point *point, struct lw_ladder_path *path)
{
    size_t count = 0;
    for (;;) {
        size_t tap = next_to_go(solver->ladder, point);
        if (tap == nobody) {
            return count;
        }
        point->load_state[tap] = LW_LOAD_OFF;
        count++;
        if (path) {
            path->shed[path->shed_count++] = tap;
        }
        lw_solver_run(solver, point);
    }
}

// All waiting nodes that see their start voltage run. False when there is none.
static bool start_waiting(const struct lw_ladder *ladder, struct lw_point *point)
{
    bool any = false;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        if (point->load_state[i] == LW_LOAD_WAITING &&
            lw_point_volts(point, i) >= ladder->taps[i].load.start_v) {
            point->load_state[i] = LW_LOAD_RUNNING;
            any = true;
        }
    }
    return any;
}

static enum lw_status path_init(const struct lw_ladder *ladder, struct lw_ladder_path *path,
                                struct lw_error *error)
{
    *path = (struct lw_ladder_path){0};
    enum lw_status status = lw_point_init(ladder, &path->point, error);
    if (status != LW_OK) {
        return status;
    }
    path->shed = calloc(ladder->tap_count, sizeof(*path->shed));
    path->resets_in_turn = calloc(ladder->tap_count, sizeof(*path->resets_in_turn));
    path->trapped = calloc(ladder->tap_count, sizeof(*path->trapped));
    if (!path->shed || !path->resets_in_turn || !path->trapped) {
        lw_ladder_path_finish(path);
        return lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", ladder->tap_count);
    }
    return LW_OK;
}

void lw_ladder_path_finish(struct lw_ladder_path *path)
{
    if (!path) {
        return;
    }
    lw_point_finish(&path->point);
    free(path->shed);
    free(path->resets_in_turn);
    free(path->trapped);
    *path = (struct lw_ladder_path){0};
}

static void sum_up(const struct lw_ladder *ladder, struct lw_ladder_path *path)
{
    const struct lw_point *point = &path->point;
    path->all_on = path->shed_count == 0;
    for (size_t i = 0; i < path->shed_count; i++) {
        size_t tap = path->shed[i];
        path->resets_in_turn[tap] = lw_point_volts(point, tap) >= ladder->taps[tap].load.start_v;
    }
    for (size_t i = 0; i < ladder->tap_count; i++) {
        path->trapped[i] = point->load_state[i] == LW_LOAD_WAITING;
        path->all_on = path->all_on && !path->trapped[i];
    }
}

static void solve_all_on(struct lw_solver *solver, struct lw_ladder_path *path)
{
    set_all(solver->ladder, &path->point, LW_LOAD_RUNNING);
    lw_solver_run(solver, &path->point);
    path->all_on_exists = path->point.exists;
    path->load_factor = path->point.load_factor;
}

static void forget_modes(const struct lw_ladder *ladder, struct lw_point *point)
{
    for (size_t s = 0; s < ladder->source_count; s++) {
        point->source_mode[s] = LW_SOURCE_VOLTAGE;
    }
}

// Starts the waiting ones, all that can at once, until nobody more does.
static void start_all(struct lw_solver *solver, struct lw_ladder_path *path)
{
    lw_solver_run(solver, &path->point);
    shed(solver, &path->point, path);
    while (start_waiting(solver->ladder, &path->point)) {
        lw_solver_run(solver, &path->point);
        shed(solver, &path->point, path);
    }
}

static void run_warm(struct lw_solver *solver, struct lw_ladder_path *path)
{
    shed(solver, &path->point, path);
}

static void run_cold(struct lw_solver *solver, struct lw_ladder_path *path)
{
    forget_modes(solver->ladder, &path->point);
    set_all(solver->ladder, &path->point, LW_LOAD_WAITING);
    start_all(solver, path);
}

// Runs one path from the solved all-on state.
static enum lw_status follow(const struct lw_ladder *ladder, struct lw_ladder_path *path,
                             void (*run)(struct lw_solver *, struct lw_ladder_path *),
                             struct lw_error *error)
{
    struct lw_solver solver;
    enum lw_status status = path_init(ladder, path, error);
    if (status != LW_OK) {
        return status;
    }
    status = lw_solver_init(&solver, ladder, error);
    if (status != LW_OK) {
        lw_ladder_path_finish(path);
        return status;
    }
    solve_all_on(&solver, path);
    run(&solver, path);
    sum_up(ladder, path);
    lw_solver_finish(&solver);
    return LW_OK;
}

enum lw_status lw_ladder_running(const struct lw_ladder *ladder, struct lw_ladder_path *path,
                                 struct lw_error *error)
{
    return follow(ladder, path, run_warm, error);
}

enum lw_status lw_ladder_cold(const struct lw_ladder *ladder, struct lw_ladder_path *path,
                              struct lw_error *error)
{
    return follow(ladder, path, run_cold, error);
}

static void scale_sources(const struct lw_ladder *ladder, double share)
{
    for (size_t s = 0; s < ladder->source_count; s++) {
        ladder->sources[s].volts *= share;
    }
}

static enum lw_status copy_sources(const struct lw_ladder *ladder, struct lw_ladder *copy,
                                   struct lw_error *error)
{
    *copy = *ladder;
    copy->sources = malloc(ladder->source_count * sizeof(*copy->sources));
    if (!copy->sources) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu supplies", ladder->source_count);
    }
    memcpy(copy->sources, ladder->sources, ladder->source_count * sizeof(*copy->sources));
    return LW_OK;
}

// From a running path: the nodes that the dip takes off wait instead, and are no longer shed.
static void dip(const struct lw_ladder *dipped, struct lw_ladder_path *path,
                struct lw_solver *solver)
{
    struct lw_point *point = &path->point;
    solver->ladder = dipped;
    lw_solver_run(solver, point);
    size_t before = path->shed_count;
    shed(solver, point, path);
    for (size_t i = before; i < path->shed_count; i++) {
        point->load_state[path->shed[i]] = LW_LOAD_WAITING;
    }
    path->shed_count = before;
}

enum lw_status lw_ladder_after_dip(const struct lw_ladder *ladder, double to_share,
                                   struct lw_ladder_path *path, struct lw_error *error)
{
    struct lw_ladder dipped;
    struct lw_solver solver;
    enum lw_status status = copy_sources(ladder, &dipped, error);
    if (status != LW_OK) {
        return status;
    }
    scale_sources(&dipped, to_share);
    status = lw_ladder_running(ladder, path, error);
    if (status == LW_OK) {
        status = lw_solver_init(&solver, ladder, error);
        if (status != LW_OK) {
            lw_ladder_path_finish(path);
        }
    }
    if (status == LW_OK) {
        dip(&dipped, path, &solver);
        solver.ladder = ladder;
        start_all(&solver, path);
        sum_up(ladder, path);
        lw_solver_finish(&solver);
    }
    free(dipped.sources);
    return status;
}

enum lw_status lw_ladder_step(const struct lw_ladder *ladder, struct lw_point *point, bool *changed,
                              struct lw_error *error)
{
    struct lw_solver solver;
    enum lw_status status = lw_solver_init(&solver, ladder, error);
    if (status != LW_OK) {
        return status;
    }
    lw_solver_run(&solver, point);
    *changed = shed(&solver, point, NULL) > 0;
    if (start_waiting(ladder, point)) {
        *changed = true;
        lw_solver_run(&solver, point);
        shed(&solver, point, NULL);
    }
    lw_solver_finish(&solver);
    return LW_OK;
}
