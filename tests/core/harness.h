/* A board without a chip: the core, its memory, its line, for tests on the computer. */
#ifndef HARNESS_H
#define HARNESS_H

#include "core/core.h"

#define HARNESS_TX_MAX 512
#define HARNESS_ASSERTED (-1)

/* Everything of one axis that the twin must equal, packed for comparing as bytes. */
typedef struct __attribute__((packed)) {
    int16_t drive;
    uint8_t bridge;
    uint8_t driver;
    uint8_t state;
    uint8_t flags;
    uint8_t ended;
    uint8_t cause;
    uint16_t motion;
    uint16_t raw;
    uint32_t faults;
    int32_t position_um;
    int32_t speed_um_s;
    int32_t reference_um;
    int16_t current_ma;
    int16_t output_permille;
    uint16_t rest_raw;
    int32_t rest_position_um;
    int16_t current_before_ma;
    int16_t current_stop_ma;
    int16_t current_probe_ma;
    uint32_t on_ticks;
    uint32_t duty_used;
    uint32_t duty_total;
    uint32_t on_s;
    uint32_t starts;
    uint32_t travel_mm;
    uint8_t also;
} harness_axis_t;

typedef struct __attribute__((packed)) {
    uint32_t tick;
    uint32_t faults;
    harness_axis_t axis[AXES];
    uint16_t supply_mv;
    uint16_t board_5v_mv;
    uint8_t ee_write;
    uint16_t ee_address;
    uint8_t ee_value;
    uint8_t restart;
    uint8_t alarm;
    uint32_t requests_done;
    uint32_t frames_good;
    uint16_t frames_bad;
    uint16_t frames_dropped;
    uint16_t repeats;
    uint16_t alive_ignored;
    uint16_t unasked_dropped;
    uint8_t session;
    uint8_t draft;
    uint8_t storing;
    uint16_t trips;
    uint8_t trips_waiting;
    uint8_t box_fault;
    uint8_t box_count;
    uint16_t totals_pause;
    uint32_t heat[AXES];
    uint16_t cover;
    uint32_t digest_stored;
} harness_state_t;

typedef struct {
    core_t core;
    noinit_t noinit;
    outputs_t outputs;
    uint8_t eeprom[STORE_SIZE];
    uint8_t ee_busy;            /* in this tick: a reader would have to wait */
    uint32_t ee_waits;          /* how often one would have waited */
    uint8_t tx[HARNESS_TX_MAX];
    uint16_t tx_size;
    harness_state_t state;
} harness_t;

harness_t *harness_new(void);
void harness_free(harness_t *board);

/* Starts the core on the memory and record that the harness holds. HARNESS_ASSERTED or 0. */
int harness_boot(harness_t *board, uint8_t reset_flags, uint16_t nonce_seed);

/* Bytes from the line, one tick, what was sent into tx, and state. A byte for the memory is NOT carried out. */
int harness_tick(harness_t *board, const uint8_t *rx, uint32_t rx_size, const readings_t *in);

tx_t *harness_ring(harness_t *board);
int16_t harness_next(harness_t *board);         /* the line takes a byte; -1: there is none */

/* A check that fails, as a mistake in the core would. */
int harness_assert(harness_t *board);

void harness_end_pause(harness_t *board);       /* totals may be written again */
void harness_warm(harness_t *board, uint8_t index, uint32_t heat);
void harness_spoil_box(harness_t *board);        /* its place lies outside, as in RAM partly kept */
uint32_t harness_ee_waits(const harness_t *board);
uint8_t *harness_eeprom(harness_t *board);
uint8_t *harness_noinit(harness_t *board);
uint32_t harness_noinit_size(void);
const uint8_t *harness_tx(const harness_t *board);
uint32_t harness_tx_size(const harness_t *board);
const uint8_t *harness_state(const harness_t *board);
uint32_t harness_state_size(void);
core_t *harness_core(harness_t *board);
outputs_t *harness_outputs(harness_t *board);
duty_t *harness_duty(harness_t *board, uint8_t index);
void harness_left(harness_t *board, uint16_t ticks);       /* so many more since the host was last heard */

/* how 0: the older copy was being written; 1: that which had just become the newer; 2: both are rubbish. */
void harness_tear(harness_t *board, uint8_t index, uint8_t how);
/* Ticks of a duty record: each with output if wished and the budget still allows one; overwrites wishes with that. */
void harness_duty_run(harness_t *board, uint8_t index, uint8_t *wishes, uint32_t count, uint32_t budget);
uint32_t harness_digest_live(const harness_t *board);

#endif
