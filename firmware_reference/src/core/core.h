/* The whole core: what the layer below calls.
 *
 * core_tick runs once per tick of 5 ms, with the readings completed in the tick before; the outputs that it gives
 * hold until the next. core_rx_byte, core_rx_damage, core_tx_byte and noinit_mark may be called from interrupts;
 * everything else from one place only.
 */
#ifndef RODBENCH_CORE_H
#define RODBENCH_CORE_H

#include <stdint.h>

#include "axis.h"
#include "draft.h"
#include "noinit.h"
#include "rx.h"
#include "store.h"
#include "tx.h"

#define AXES 2
#define GUARDS 3                        /* faults of the board from supply_low on that have a time */
#define FIRMWARE_MAJOR 0
#define FIRMWARE_MINOR 2
#define FIRMWARE_PATCH 0
#define FIRMWARE_NAME "rodbench"

typedef struct {
    uint16_t pot[AXES];                 /* sum of 8 conversions */
    uint16_t current[AXES];             /* sum of 4 */
    uint16_t supply;                    /* one conversion */
    uint16_t bandgap;                   /* one conversion against the board's own supply; 0: not read yet */
    uint16_t local[AXES];               /* stick: one conversion; pulse: width in us, 0 if there is none */
    uint8_t inputs;                     /* INPUTS_... bits; 1: closed to ground */
    uint8_t ee_ready;                   /* the memory can take a byte */
} readings_t;

/* drive, bridge and driver of an axis together say what its lines do. `driver` is the axis's setting: which pins are
 * its, and what drive, brake and off mean on them. It changes only at rest, with the output 0.
 * An axis without a rod is off, whatever its driver. Where the other axis has DRIVER_TWO_PWM_INPUTS, which takes both
 * PWM pins, such an axis has none: the layer below writes nothing of it to the pins that the other uses. */
typedef struct {
    int16_t drive[AXES];                /* on the lines, signed permille; 0 unless bridge is BRIDGE_DRIVE */
    uint8_t bridge[AXES];               /* BRIDGE_... */
    uint8_t driver[AXES];               /* DRIVER_... */
    uint8_t ee_write;                   /* 1: write ee_value at ee_address now */
    uint16_t ee_address;
    uint8_t ee_value;
    uint8_t restart;                    /* 1: start the board anew now (the record is marked) */
    uint8_t alarm;                      /* 1: a fault is latched */
} outputs_t;

/* Laid out as the reply to `trip_get`. */
typedef struct __attribute__((packed)) {
    uint16_t number;
    uint8_t axis;
    uint8_t fault;
    int32_t position_um;
    uint16_t raw;
    int16_t current_ma;
    uint16_t supply_mv;
    int8_t output_percent;
    uint16_t uptime_min;
    uint8_t check;                      /* not in the reply */
} trip_t;

#define TRIPS_WAITING 2

typedef struct {
    uint16_t number;                    /* of the newest */
    uint8_t waiting;                    /* how many of trip[] are yet to be written */
    trip_t trip[TRIPS_WAITING];
} trips_t;

typedef struct __attribute__((packed)) {
    uint16_t used;                      /* on-time of the duty window, of 32 ticks, rounded up */
    uint8_t heat;                       /* of 16 permille, rounded up */
} hot_axis_t;

typedef struct __attribute__((packed)) {
    uint16_t number;
    hot_axis_t axis[AXES];
    uint8_t check;
} hot_record_t;

typedef struct {
    hot_record_t record;                /* as written last, or to be written now */
    uint16_t cover;                     /* ticks of output that the memory tells of in advance, of both axes together */
    uint8_t writing;                    /* 0: no record is to be written */
} hot_t;

/* How far a record is written. */
typedef struct {
    uint16_t at;                        /* 0: none */
    uint8_t tries;                      /* bytes begun for it */
} memory_t;

/* Laid out as the reply to `counters`. */
typedef struct {
    uint32_t requests_done;
    uint32_t frames_good;
    uint16_t frames_bad;
    uint16_t frames_dropped;
    uint16_t repeats;
    uint16_t alive_ignored;
    uint16_t unasked_dropped;
    uint16_t late_ticks;
    uint16_t worst_tick_us;
} counters_t;

#define SESSIONS_RECENT 4

typedef struct {
    uint8_t number;                     /* 0: none open */
    uint8_t recent[SESSIONS_RECENT];    /* numbers of the last opens, this one too: not to be opened again */
    uint8_t opens;
    uint8_t seq;                        /* of the last request carried out */
    uint8_t request_size;               /* of that request, with its CRC: what a repeat must equal */
    uint16_t request_crc;
    uint8_t reply_size;                 /* 0: nothing to repeat */
    uint32_t newest_alive;              /* tick echoed by the newest alive */
    uint8_t reply[FRAME_MAX - 2];
} session_t;

typedef struct {
    uint16_t axis_period;               /* ticks; 0: not subscribed */
    uint16_t board_period;
    uint16_t axis_phase;                /* ticks since axis 1's frame */
    uint16_t board_left;                /* ticks until the board's frame is due */
    uint8_t board_waited;               /* ticks that it has waited for a tick without an axis frame */
} telemetry_t;

typedef struct {
    uint8_t apart_ticks;                /* in a row, too far apart */
    uint8_t alone;                      /* the axis, from 1, that is or was last levelled; 0: both move as one */
} gang_t;

/* Small fields first: the chip reaches the first 64 bytes behind a pointer in one instruction. */
typedef struct {
    uint32_t tick;                      /* number of this tick; the first after a start is 1 */
    uint32_t faults;                    /* latched, of the board */
    uint32_t live_digest;               /* of all settings in force, unless live_changed: core_live_digest */
    uint32_t scope_digest[1 + AXES];    /* of each scope; 0 of an axis that the board has not */
    noinit_t *noinit;
    ee_read_t ee_read;
    uint16_t supply_mv;                 /* as read */
    uint16_t board_5v_mv;               /* by the bandgap; 0: not read yet */
    uint16_t event_number;
    uint16_t heard;                     /* tick of the last good frame of the session, its low half */
    uint16_t duty_wait_s;               /* until what was refused for its duty last would fit */
    uint8_t barred;                     /* waiting frames that may start no motion: a stop came beside them */
    uint8_t seen_bad;                   /* interrupt counts taken over so far */
    uint8_t seen_dropped;
    uint8_t reset_cause;
    uint8_t live_changed;               /* 1: live_digest is to be reckoned anew */
    uint8_t late_pending;               /* late ticks not told yet */
    uint8_t ee_ready;                   /* of this tick's readings */
    uint8_t late_level;                 /* what they weigh: see core.c */
    uint8_t wrong_ticks[GUARDS];        /* in a row: supply low, supply high, stop input open */
    uint8_t stops_for;                  /* newest fault of the board, supply_high before all others; 0: none yet */
    uint8_t inputs;                     /* of this tick */
    uint8_t restart_in;                 /* ticks until the restart; 0: none asked for */
    draft_t draft;
    memory_t memory;
    counters_t counters;
    gang_t gang;
    telemetry_t telemetry;
    hot_t hot;
    trips_t trips;
    store_t store;
    tx_t tx;
    settings_t live;
    axis_t axis[AXES];
    rx_t rx;
    session_t session;
} core_t;

/* reset_flags: RESET_FLAG_... bits. nonce_seed: as random as the board can make it. ee_read never waits. */
void core_init(core_t *core, noinit_t *noinit, uint8_t reset_flags, uint16_t nonce_seed, ee_read_t ee_read);
void core_tick(core_t *core, const readings_t *in, outputs_t *out);

void core_rx_byte(core_t *core, uint8_t byte);
void core_rx_damage(core_t *core);              /* framing error, or a byte was lost */
int16_t core_tx_byte(core_t *core);             /* next byte to send, or -1 */

void core_late_tick(core_t *core);              /* between ticks: the last one ended late */
void core_worst_tick(core_t *core, uint16_t us);

uint8_t core_faulted(const core_t *core);       /* a fault is latched */
/* Of all settings in force: reckoned when asked for after a change, so that no tick has that and a change or a start. */
uint32_t core_live_digest(core_t *core);

/* axis_stop of one axis. */
void core_stop(core_t *core, uint8_t index, uint8_t category, uint8_t reason);

/* Latches a fault of the board, which stops both axes in their next tick: see axis_stop_by_board. */
void core_trip(core_t *core, uint8_t number);

uint8_t core_at_rest(const core_t *core);       /* both axes: no motion, output 0 */

#endif
