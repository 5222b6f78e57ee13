#include "core.h"

#include "blackbox.h"
#include "digest.h"
#include "dispatch.h"
#include "div.h"
#include "event.h"
#include "gang.h"
#include "hot.h"
#include "local.h"
#include "memory.h"
#include "number.h"
#include "port.h"
#include "telemetry.h"
#include "totals.h"
#include "trips.h"

#define BANDGAP_MV 1100                 /* +-10 % from chip to chip */
/* Of a late tick; each eighth tick takes 1 off: three within a second trip. 0: they are only counted. */
#ifndef LATE_WEIGHT
#define LATE_WEIGHT 26
#endif

#define SUPPLY_LOW_TICKS 40
#define SUPPLY_HIGH_TICKS 4
#define STOP_INPUT_TICKS 4

static void fault(core_t *core, uint8_t number)
{
    core->faults |= UINT32_C(1) << (number - 1);
}

static void faults_of_reset(core_t *core)
{
    if (core->reset_cause == RESET_CAUSE_WATCHDOG) {
        fault(core, FAULT_WATCHDOG);
    } else if (core->reset_cause == RESET_CAUSE_ASSERTION) {
        fault(core, FAULT_ASSERTION);
    }
}

/* Nothing is in force that is not proven good: else all are defaults, which fit no rod. */
static void load_settings(core_t *core)
{
    uint8_t found = store_load(&core->store, &core->live, core->ee_read);
    if (found == STORE_LOADED && !settings_good(&core->live)) {
        settings_defaults(&core->live);
        core->store.digest = 0;
        found = STORE_DAMAGED;
    }
    if (found == STORE_DAMAGED) {
        fault(core, FAULT_SETTINGS);
    }
    for (uint8_t scope = 0; scope < SCOPES; scope++) {
        core->scope_digest[scope] = digest_of(settings_scope(&core->live, scope), settings_scope_size(scope));
    }
    core->live_changed = 1;
}

void core_init(core_t *core, noinit_t *noinit, uint8_t reset_flags, uint16_t nonce_seed, ee_read_t ee_read)
{
    uint8_t kept;
    memset(core, 0, sizeof *core);
    core->noinit = noinit;
    core->ee_read = ee_read;
    core->reset_cause = noinit_start(noinit, reset_flags, nonce_seed, &kept);
    rx_init(&core->rx);
    tx_init(&core->tx);
    draft_drop(&core->draft);
    core->draft.as = &noinit->box.draft;
    faults_of_reset(core);
    load_settings(core);
    for (uint8_t index = 0; index < AXES; index++) {
        axis_init(&core->axis[index]);
    }
    hot_start(core, kept);
    trips_start(core);
    totals_start(core, kept);
    noinit_complete(noinit);
}

static void tell_start(core_t *core)
{
    event_board(core, EVENT_KIND_BOOT, core->reset_cause, 0);
    for (uint8_t number = 1; number <= FAULT_LAST; number++) {
        if (core->faults & UINT32_C(1) << (number - 1)) {
            event_board(core, EVENT_KIND_TRIP, number, 0);
        }
    }
}

static void tell_board(core_t *core)
{
    if (core->tick == 1) {
        tell_start(core);
    }
    if (core->late_pending) {
        event_board(core, EVENT_KIND_LATE_TICK, 0, core->late_pending);
        core->late_pending = 0;
    }
}

/* Motor supply and own supply in mV, as read. */
static void read_supply(core_t *core, const readings_t *in, uint16_t board_mv)
{
    int32_t input_mv = div_nearest((int32_t)in->supply * board_mv, CORE_SUPPLY_FULL_SCALE);
    core->supply_mv = at_most_u16(div_nearest(input_mv * core->live.board.supply_ratio_x1000, 1000));
    if (in->bandgap != 0) {
        core->board_5v_mv = at_most_u16(div_nearest((int32_t)BANDGAP_MV * (int32_t)CORE_SUPPLY_FULL_SCALE, in->bandgap));
    }
}

/* A fault whose cause must stand for so many ticks in a row; from then on it comes back at once. */
static CORE_ONCE void judge(core_t *core, uint8_t number, uint8_t wrong, uint8_t patience)
{
    uint8_t *ticks = &core->wrong_ticks[number - FAULT_SUPPLY_LOW];
    *ticks = wrong ? (uint8_t)(*ticks + 1) : 0;
    if (*ticks >= patience) {
        *ticks = (uint8_t)(patience - 1);
        core_trip(core, number);
    }
}

/* The stop input is read from the pins as they are; a supply that no meter was held to guards nothing. */
static void watch_board(core_t *core, const settings_board_t *board)
{
    uint16_t mv = board->supply_calibrated ? core->supply_mv : 0;
    judge(core, FAULT_SUPPLY_LOW, board->supply_calibrated && mv < board->supply_low_mv, SUPPLY_LOW_TICKS);
    judge(core, FAULT_SUPPLY_HIGH, board->supply_high_mv != 0 && mv > board->supply_high_mv, SUPPLY_HIGH_TICKS);
    judge(core, FAULT_STOP_INPUT, board->stop_input && !(core->inputs & INPUTS_STOP), STOP_INPUT_TICKS);
    if (core->late_level > 2 * LATE_WEIGHT) {
        core_trip(core, FAULT_LATE_TICK);
    }
    if (core->late_level != 0 && ((uint8_t)core->tick & 7u) == 0) {
        core->late_level--;
    }
}

static void control_axis(core_t *core, uint8_t index, axis_in_t *axis_in, outputs_t *out)
{
    axis_out_t axis_out;
    axis_t *axis = &core->axis[index];
    const settings_axis_t *set = &core->live.axis[index];
    duty_t *duty = &core->noinit->duty[index];
    axis_in->duty_room = duty_room(duty, set);
    axis_in->waits = core->hot.cover == 0;
    if (axis_in->waits && axis->output_permille != 0) {
        axis_in->duty_room = 0;
    }
    thermal_tick(&duty->heat, set, axis->current_ma);
    axis_in->heat = thermal_permille(&duty->heat);
    if (core->faults != 0) {
        axis_stop_by_board(axis, set, core->stops_for);
    }
    axis_tick(axis, set, axis_in, &axis_out);
    duty_tick(duty, axis_out.drive != 0);
    if (axis_out.drive != 0) {
        core->hot.cover--;
        totals_tick(core, index);
    }
    out->drive[index] = axis_out.drive;
    out->bridge[index] = axis_out.bridge;
    out->driver[index] = set->driver;
    event_axis(core, (uint8_t)(index + 1), &axis_out);
}

static CORE_ONCE void control(core_t *core, const readings_t *in, outputs_t *out)
{
    const settings_board_t *board = &core->live.board;
    axis_in_t axis_in;
    axis_in.tick = core->tick;
    axis_in.board_mv = board->board_5v_mv ? board->board_5v_mv : CORE_REFERENCE_MV;
    read_supply(core, in, axis_in.board_mv);
    core->inputs = in->inputs;
    watch_board(core, board);
    axis_in.supply_nominal_mv = board->supply_nominal_mv;
    axis_in.supply_mv = board->supply_calibrated ? core->supply_mv : board->supply_nominal_mv;
    gang_tick(core);
    hot_tick(core);
    for (uint8_t index = 0; index < AXES; index++) {
        axis_in.raw = in->pot[index];
        axis_in.current4 = in->current[index];
        control_axis(core, index, &axis_in, out);
    }
}

static void restart_step(core_t *core, outputs_t *out)
{
    out->restart = core->restart_in == 1;
    if (core->restart_in > 1) {
        core->restart_in--;
    }
    if (out->restart) {
        noinit_mark(core->noinit, RESET_CAUSE_RESTART);
    }
}

uint32_t core_live_digest(core_t *core)
{
    if (core->live_changed) {
        core->live_changed = 0;
        core->live_digest = digest_of(&core->live, SETTINGS_COUNTED);
    }
    return core->live_digest;
}

void core_tick(core_t *core, const readings_t *in, outputs_t *out)
{
    core->tick++;
    tx_tick(&core->tx);
    core->ee_ready = in->ee_ready;
    dispatch_tick(core);
    if (CORE_BLACK_BOX) {
        blackbox_tick(core);
    }
    local_tick(core, in);
    control(core, in, out);
    tell_board(core);
    telemetry_tick(core);
    memory_tick(core, out);
    restart_step(core, out);
    out->alarm = core_faulted(core);
}

void core_rx_byte(core_t *core, uint8_t byte)
{
    rx_byte(&core->rx, byte);
}

void core_rx_damage(core_t *core)
{
    rx_damage(&core->rx);
}

int16_t core_tx_byte(core_t *core)
{
    return tx_next(&core->tx);
}

void core_late_tick(core_t *core)
{
    core->counters.late_ticks++;
    if (core->late_level <= 2 * LATE_WEIGHT) {
        core->late_level = (uint8_t)(core->late_level + LATE_WEIGHT);
    }
    if (core->late_pending < UINT8_MAX) {
        core->late_pending++;
    }
}

void core_worst_tick(core_t *core, uint16_t us)
{
    core->counters.worst_tick_us = us;
}

uint8_t core_faulted(const core_t *core)
{
    return (core->faults | core->axis[0].faults | core->axis[1].faults) != 0;
}

void core_stop(core_t *core, uint8_t index, uint8_t category, uint8_t reason)
{
    axis_stop(&core->axis[index], &core->live.axis[index], category, reason);
}

void core_trip(core_t *core, uint8_t number)
{
    uint32_t before = core->faults;
    fault(core, number);
    if (core->faults != before) {
        if (!(before & UINT32_C(1) << (FAULT_SUPPLY_HIGH - 1))) {
            core->stops_for = number;
        }
        event_board(core, EVENT_KIND_TRIP, number, 0);
    }
}

uint8_t core_at_rest(const core_t *core)
{
    return axis_at_rest(&core->axis[0]) && axis_at_rest(&core->axis[1]);
}
