/* The real binary, instruction by instruction, under a plant that somebody else reckons.
 *
 * A shared library for simboard.py: one handle is one ATmega328P in simavr. The caller runs it from the end of a
 * tick's work to the next tick and on to its outputs, gives the converter's codes, and sends and takes bytes. The firmware
 * shows where a tick begins and ends by writing 1 and 0 to GPIOR0. DIFFERENCES.md says where simavr and the
 * chip part.
 */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_core.h>
#include <simavr/sim_elf.h>

#define GPIOR0 0x3E
#define GPIOR1 0x4A
#define GPIOR2 0x4B
#define EECR 0x3F
#define EEDR 0x40
#define EEARL 0x41
#define EEARH 0x42
#define EEPE_BIT 2
#define MCUSR 0x54
#define SPL 0x5D
#define SPH 0x5E
#define RAM_FIRST 0x100
#define RAM_SIZE 2048
#define TICK_CYCLES 80000
#define GUARD_CYCLES 3200       /* 200 us: no byte comes nearer to a tick's boundary */
#define CHANNELS 16
#define CODES 16
#define QUEUE 65536             /* a power of two */
#define BANDGAP 14
#define SPARE_CHANNEL 7         /* A7, which the firmware never reads, stands in for the bandgap */

enum { SIM_OK, SIM_TIMEOUT, SIM_CRASHED, SIM_RESET };
enum { EVENT_BEGIN = 1, EVENT_END = 2, EVENT_RESET = 4 };

typedef struct {
    uint8_t bytes[QUEUE];
    uint32_t head, tail;
} queue_t;

/* The lines to the bridges, as Timer1 makes them on the chip: simavr has no edges on PWM pins. A compare value is
 * taken at TOP. A pin that comes back to its compare unit shows what that unit showed last, until it next acts. */
typedef struct {
    uint8_t watched, on;
    uint64_t at;                        /* reckoned up to this cycle */
    uint16_t taken[2];                  /* compare values in force */
    uint8_t shows[2], idle[2], stale[2], ideal[2];
    uint8_t now;
    uint64_t since;
    uint64_t cycles[64];                /* with lines A1 B1 P1 A2 B2 P2 as bits 0 to 5 */
    uint32_t longest[64];
} lines_t;

typedef struct {
    void *sim;
    uint32_t width;                     /* cycles */
    uint8_t bit, high, runs;
} pulse_t;

typedef struct {
    avr_t *avr;
    pulse_t pulse[2];
    avr_ioport_external_t held[2];      /* ports B and D */
    elf_firmware_t firmware;
    lines_t lines;
    avr_irq_t *adc[8];
    avr_irq_t *uart_in;
    uint8_t events;
    uint64_t boundary;                  /* cycle in which the last tick began */
    uint64_t ended;                     /* cycle in which its work ended */
    uint64_t started;                   /* cycle in which the work began that ends next */
    uint8_t working;
    queue_t in, out;                    /* the serial line */
    queue_t writes;                     /* EEPROM: address low, high, value */
    queue_t feed, probe;                /* core_alone.c: what it reads and writes instead of peripherals */
    uint64_t byte_cycles;
    uint64_t last_in;                   /* cycle of the last byte given */
    uint8_t in_timer;
    uint16_t codes[CHANNELS][CODES];    /* of the scan under way */
    uint8_t code_count[CHANNELS];
    uint8_t code_next[CHANNELS];        /* 0: the scan has not come to this channel yet */
    uint16_t later[CHANNELS][CODES];    /* given too late for the scan under way: for the next */
    uint8_t later_count[CHANNELS];
    uint32_t conversions;
    uint64_t first_conversion, last_conversion;
    void (*chip_reset)(avr_t *);
    uint32_t resets;
    /* measured since sim_measure */
    uint16_t lowest_stack;
    uint16_t stack;
    uint8_t stack_stands;
    uint32_t worst_tick;
    uint64_t interrupts_off_since;
    uint32_t longest_off;
    uint32_t longest_off_pc;
    uint32_t off_pc;
    uint32_t *profile;                  /* cycles of ticks' work at each word of the program, or NULL */
    uint8_t eeprom_start[1024];
} sim_t;

static void silent(avr_t *avr, const int level, const char *format, va_list ap)
{
    (void)avr; (void)level; (void)format; (void)ap;
}

static void no_sleep(avr_t *avr, avr_cycle_count_t how_long)
{
    (void)avr; (void)how_long;
}

/* ------------------------------------------------------------------ what the firmware shows */

static void take_later_codes(sim_t *sim)
{
    for (int channel = 0; channel < CHANNELS; channel++) {
        sim->code_next[channel] = 0;
        if (sim->later_count[channel]) {
            memcpy(sim->codes[channel], sim->later[channel], sizeof sim->codes[channel]);
            sim->code_count[channel] = sim->later_count[channel];
            sim->later_count[channel] = 0;
        }
    }
}

static void on_phase(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    sim_t *sim = param;
    avr->data[address] = value;
    if (value) {
        sim->events |= EVENT_BEGIN;
        if (!sim->working) { sim->started = avr->cycle; }      /* else the one before is late */
        sim->working = 1;
        sim->boundary = avr->cycle;
        sim->conversions = 0;
        take_later_codes(sim);
    } else {
        sim->events |= EVENT_END;
        sim->ended = avr->cycle;
        sim->working = 0;
        uint32_t took = (uint32_t)(avr->cycle - sim->started);
        if (took > sim->worst_tick) { sim->worst_tick = took; }
    }
}

/* ------------------------------------------------------------------ core_alone.c */

static uint8_t on_feed(avr_t *avr, avr_io_addr_t address, void *param)
{
    sim_t *sim = param;
    queue_t *q = &sim->feed;
    (void)avr; (void)address;
    if (q->head == q->tail) {
        sim->events |= EVENT_RESET;         /* nothing left to read: hand back to the caller */
        return 0;
    }
    return q->bytes[q->tail++ % QUEUE];
}

static void on_probe(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    queue_t *q = &((sim_t *)param)->probe;
    (void)avr; (void)address;
    if (q->head - q->tail < QUEUE) { q->bytes[q->head++ % QUEUE] = value; }
}

static void on_reset(avr_t *avr)
{
    sim_t *sim = avr->custom.data;
    if (sim->chip_reset) { sim->chip_reset(avr); }
    sim->events |= EVENT_RESET;
    sim->resets++;
    sim->in_timer = 0;
    sim->working = 0;
    sim->interrupts_off_since = 0;
}

/* A write to the EEPROM begins, of the same value perhaps. simavr does the rest. */
static void on_eeprom(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    queue_t *q = &((sim_t *)param)->writes;
    (void)address;
    if ((value & EEPE_BIT) && q->head - q->tail + 3 <= QUEUE) {
        q->bytes[q->head++ % QUEUE] = avr->data[EEARL];
        q->bytes[q->head++ % QUEUE] = avr->data[EEARH];
        q->bytes[q->head++ % QUEUE] = avr->data[EEDR];
    }
}

/* ------------------------------------------------------------------ converter */

static void on_conversion(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    sim_t *sim = param;
    union { avr_adc_mux_t mux; uint32_t v; } asked = { .v = value };
    uint8_t source = asked.mux.src;
    uint8_t channel = source == SPARE_CHANNEL ? BANDGAP : source;
    if (asked.mux.kind != ADC_MUX_SINGLE) { return; }
    if (sim->conversions++ == 0) { sim->first_conversion = sim->avr->cycle; }
    sim->last_conversion = sim->avr->cycle;
    uint8_t count = sim->code_count[channel];
    uint32_t code = 0;
    if (count != 0) {
        uint8_t at = sim->code_next[channel]++;
        code = sim->codes[channel][at < count ? at : count - 1];
    }
    avr_raise_irq(sim->adc[source & 7], (5000 * code + 1022) / 1023);
}

void sim_codes(sim_t *sim, uint8_t channel, const uint16_t *codes, uint8_t count)
{
    uint8_t begun = sim->code_next[channel] != 0;
    memcpy(begun ? sim->later[channel] : sim->codes[channel], codes, count * sizeof *codes);
    *(begun ? &sim->later_count[channel] : &sim->code_count[channel]) = count;
}

/* simavr's bandgap is fixed at 1100 mV; ours is told like any other channel. */
static void tell_bandgap(avr_t *avr)
{
    for (avr_io_t *io = avr->io_port; io; io = io->next) {
        if (strcmp(io->kind, "adc") == 0) {
            avr_adc_t *adc = (avr_adc_t *)io;
            adc->muxmode[BANDGAP] = (avr_adc_mux_t){ .kind = ADC_MUX_SINGLE, .src = SPARE_CHANNEL };
        }
    }
}

/* ------------------------------------------------------------------ line */

static uint32_t queued(const queue_t *q)
{
    return q->head - q->tail;
}

static void put(queue_t *q, uint8_t byte)
{
    if (queued(q) < QUEUE) { q->bytes[q->head++ % QUEUE] = byte; }
}

static void on_byte_out(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    put(&((sim_t *)param)->out, (uint8_t)value);
}

/* The first cycle, not before `when`, that is not too near to a boundary. */
static uint64_t clear_of_boundary(const sim_t *sim, uint64_t when)
{
    if (sim->boundary == 0) { return when; }
    uint64_t into = (when - sim->boundary) % TICK_CYCLES;
    if (into < GUARD_CYCLES) { return when + GUARD_CYCLES - into; }
    if (into > TICK_CYCLES - GUARD_CYCLES) { return when + TICK_CYCLES + GUARD_CYCLES - into; }
    return when;
}

static uint64_t next_in(const sim_t *sim)
{
    uint64_t when = sim->last_in + sim->byte_cycles;
    if (when <= sim->avr->cycle) { when = sim->avr->cycle + 1; }
    return clear_of_boundary(sim, when);
}

static avr_cycle_count_t give_byte(avr_t *avr, avr_cycle_count_t when, void *param)
{
    sim_t *sim = param;
    (void)when;
    if (queued(&sim->in) == 0) {
        sim->in_timer = 0;
        return 0;
    }
    sim->last_in = avr->cycle;
    avr_raise_irq(sim->uart_in, sim->in.bytes[sim->in.tail++ % QUEUE]);
    if (queued(&sim->in) == 0) {
        sim->in_timer = 0;
        return 0;
    }
    return next_in(sim);
}

static void arm_in(sim_t *sim)
{
    if (sim->in_timer || queued(&sim->in) == 0) { return; }
    sim->in_timer = 1;
    avr_cycle_timer_register(sim->avr, next_in(sim) - sim->avr->cycle, give_byte, sim);
}

void sim_send(sim_t *sim, const uint8_t *bytes, uint32_t count)
{
    for (uint32_t n = 0; n < count; n++) { put(&sim->in, bytes[n]); }
    arm_in(sim);
}

uint32_t sim_waiting(const sim_t *sim)
{
    return queued(&sim->in);
}

static uint32_t take(queue_t *q, uint8_t *bytes, uint32_t room)
{
    uint32_t n = 0;
    while (n < room && queued(q)) { bytes[n++] = q->bytes[q->tail++ % QUEUE]; }
    return n;
}

uint32_t sim_take(sim_t *sim, uint8_t *bytes, uint32_t room) { return take(&sim->out, bytes, room); }
uint32_t sim_writes(sim_t *sim, uint8_t *bytes, uint32_t room) { return take(&sim->writes, bytes, room); }
uint32_t sim_probe(sim_t *sim, uint8_t *bytes, uint32_t room) { return take(&sim->probe, bytes, room); }

void sim_feed(sim_t *sim, const uint8_t *bytes, uint32_t count)
{
    for (uint32_t n = 0; n < count; n++) { put(&sim->feed, bytes[n]); }
}

/* ------------------------------------------------------------------ Timer1's count */

#define TCNT1 0x84
#define ICR1 0x86

/* simavr lets it run on beyond TOP in phase-correct mode; on the chip it goes up to TOP and down again. */
static uint8_t on_count(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)param;
    uint32_t top = (uint32_t)(avr->data[ICR1] | avr->data[ICR1 + 1] << 8);
    uint32_t phase = top ? (uint32_t)(avr->cycle % (2 * top)) : 0;
    uint32_t count = phase <= top ? phase : 2 * top - phase;
    avr->data[TCNT1 + 1] = (uint8_t)(count >> 8);
    return avr->data[address] = (uint8_t)count;
}

/* ------------------------------------------------------------------ pins that somebody closes */

/* Held from outside: else simavr lets every write to PORTx pull the level up again where the pull-up is on.
 * D8 is Timer1's capture input too. While ICR1 is TOP the chip captures nothing; simavr would overwrite it. */
void sim_pin(sim_t *sim, uint8_t port, uint8_t bit, uint8_t level)
{
    uint8_t top[2] = { sim->avr->data[ICR1], sim->avr->data[ICR1 + 1] };
    avr_ioport_external_t *held = &sim->held[port == 'D'];
    uint8_t mask = (uint8_t)(1u << bit);
    held->name = port;
    held->mask |= mask;
    held->value = (uint8_t)(level ? held->value | mask : held->value & ~mask);
    avr_ioctl(sim->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), held);
    avr_raise_irq(avr_io_getirq(sim->avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), level);
    memcpy(sim->avr->data + ICR1, top, sizeof top);
}

/* ------------------------------------------------------------------ servo pulses, 50 a second */

#define PULSE_PERIOD 320000u

static avr_cycle_count_t pulse_edge(avr_t *avr, avr_cycle_count_t when, void *param)
{
    pulse_t *pulse = param;
    (void)avr;
    pulse->high = pulse->high ? 0 : pulse->width != 0;
    sim_pin(pulse->sim, 'D', pulse->bit, pulse->high);
    if (pulse->width == 0) {
        pulse->runs = 0;
        return 0;
    }
    return when + (pulse->high ? pulse->width : PULSE_PERIOD - pulse->width);
}

/* On input local A of axis index + 1, from the next turn of its period on; 0 cycles: low for good. */
void sim_pulse(sim_t *sim, uint8_t index, uint32_t cycles)
{
    pulse_t *pulse = &sim->pulse[index];
    *pulse = (pulse_t){ .sim = sim, .bit = (uint8_t)(2 + index), .width = cycles, .high = pulse->high, .runs = pulse->runs };
    if (cycles != 0 && !pulse->runs) {
        pulse->runs = 1;
        sim_pin(sim, 'D', pulse->bit, 0);
        avr_cycle_timer_register(sim->avr, 4321u + 77777u * index, pulse_edge, pulse);
    }
}

/* ------------------------------------------------------------------ life */

static void connect(sim_t *sim)
{
    avr_t *avr = sim->avr;
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    sim->uart_in = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(
        avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte_out, sim);
    for (int n = 0; n < 8; n++) { sim->adc[n] = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + n); }
    avr_irq_register_notify(
        avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion, sim);
    avr_register_io_write(avr, GPIOR0, on_phase, sim);
    avr_register_io_write(avr, EECR, on_eeprom, sim);
    avr_register_io_read(avr, GPIOR1, on_feed, sim);
    avr_register_io_write(avr, GPIOR2, on_probe, sim);
    avr->io[AVR_DATA_TO_IO(TCNT1)].r.c = on_count;      /* in place of simavr's own */
    tell_bandgap(avr);
}

/* eeprom: 1024 bytes. ram: 2048 bytes from 0x100, as the chip finds them. flags: MCUSR. NULL: cannot. */
sim_t *sim_open(const char *elf, const uint8_t *eeprom, const uint8_t *ram, uint8_t flags, uint32_t byte_cycles)
{
    avr_global_logger_set(silent);
    sim_t *sim = calloc(1, sizeof *sim);
    if (elf_read_firmware(elf, &sim->firmware) != 0) { free(sim); return NULL; }
    strcpy(sim->firmware.mmcu, "atmega328p");
    sim->firmware.frequency = 16000000;
    avr_t *avr = sim->avr = avr_make_mcu_by_name("atmega328p");
    if (!avr) { free(sim); return NULL; }
    avr_init(avr);
    avr_load_firmware(avr, &sim->firmware);
    avr->log = LOG_NONE;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = no_sleep;
    avr->custom.data = sim;
    sim->chip_reset = avr->reset;
    avr->reset = on_reset;
    connect(sim);
    memcpy(avr->data + RAM_FIRST, ram, RAM_SIZE);
    avr->data[MCUSR] = flags;
    memcpy(sim->eeprom_start, eeprom, sizeof sim->eeprom_start);
    avr_eeprom_desc_t memory = { .ee = sim->eeprom_start, .offset = 0, .size = 1024 };
    avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &memory);
    sim->byte_cycles = byte_cycles;
    sim->lowest_stack = 0xFFFF;
    return sim;
}

/* A bootloader at `address`, which then runs first after every reset. Returns 0 when it does not fit. */
int sim_bootloader(sim_t *sim, const uint8_t *code, uint32_t size, uint32_t address)
{
    if (address + size > sim->avr->flashend + 1) { return 0; }
    memcpy(sim->avr->flash + address, code, size);
    sim->avr->codeend = sim->avr->flashend;
    sim->avr->reset_pc = address;
    sim->avr->pc = address;
    return 1;
}

/* Flash as it may be found: erased, with `code` at its start. The bootloader, if any, comes afterwards. */
void sim_program(sim_t *sim, const uint8_t *code, uint32_t size)
{
    memset(sim->avr->flash, 0xFF, sim->avr->flashend + 1);
    memcpy(sim->avr->flash, code, size);
    sim->avr->codeend = sim->avr->flashend;
}

void sim_flash(const sim_t *sim, uint8_t *bytes)
{
    memcpy(bytes, sim->avr->flash, sim->avr->flashend + 1);
}

/* The reset line: registers as after a reset, RAM, flash and EEPROM kept. */
void sim_pull_reset(sim_t *sim)
{
    sim->in.tail = sim->in.head;
    memset(sim->lines.shows, 0, sizeof sim->lines.shows);
    avr_reset(sim->avr);
    sim->avr->data[MCUSR] = 2;          /* external */
    sim->events &= (uint8_t)~EVENT_RESET;
}

/* Cycles from one byte given to the next, as the speed of the line is now. */
void sim_pace(sim_t *sim, uint64_t byte_cycles) { sim->byte_cycles = byte_cycles; }

void sim_close(sim_t *sim)
{
    avr_terminate(sim->avr);
    free(sim->avr);
    free(sim);
}

/* ------------------------------------------------------------------ lines to the bridges */

#define PORTB 0x25
#define DDRB 0x24
#define PORTD 0x2B
#define DDRD 0x2A
#define TCCR1A 0x80
#define TCCR1B 0x81
#define TCCR1C 0x82
static const uint8_t COMPARE[2] = { 0x88, 0x8A }, COM_SHIFT[2] = { 6, 4 }, PWM_BIT[2] = { 1, 2 };

static uint16_t word(const avr_t *avr, uint16_t at)
{
    return (uint16_t)(avr->data[at] | avr->data[at + 1] << 8);
}

/* What the compare unit of one pin shows, `phase` cycles after the timer was at 0. */
static void compare_unit(lines_t *l, const avr_t *avr, int n, uint32_t phase, uint32_t top, uint8_t turned)
{
    uint8_t com = (avr->data[TCCR1A] >> COM_SHIFT[n]) & 3;
    if (turned) { l->taken[n] = word(avr, COMPARE[n]); }
    uint32_t count = phase <= top ? phase : 2 * top - phase;
    uint8_t high = l->taken[n] >= top || count < l->taken[n];
    uint8_t ideal = com == 3 ? !high : high;
    if (com == 0) {
        l->idle[n] = 1;
        return;
    }
    if (l->idle[n]) {
        l->idle[n] = 0;
        l->stale[n] = 1;
    } else if (turned || ideal != l->ideal[n]) {
        l->stale[n] = 0;
    }
    l->ideal[n] = ideal;
    if (!l->stale[n]) { l->shows[n] = ideal; }
}

static uint8_t line_levels(const lines_t *l, const avr_t *avr)
{
    uint8_t d = avr->data[PORTD] & avr->data[DDRD], b = avr->data[PORTB], out = avr->data[DDRB];
    uint8_t level = (uint8_t)((d >> 4 & 3) | (d >> 6 & 3) << 3);
    for (int n = 0; n < 2; n++) {
        uint8_t connected = l->on && !l->idle[n];
        uint8_t high = connected ? l->shows[n] : b >> PWM_BIT[n] & 1;
        if (out >> PWM_BIT[n] & high & 1) { level |= (uint8_t)(4 << 3 * n); }
    }
    return level;
}

static void watch_lines(sim_t *sim)
{
    avr_t *avr = sim->avr;
    lines_t *l = &sim->lines;
    uint8_t counts = (avr->data[TCCR1B] & 7) != 0;
    uint32_t top = word(avr, ICR1);
    if (counts && !l->on) { l->idle[0] = l->idle[1] = 1; }
    if (avr->data[TCCR1C] && !(avr->data[TCCR1A] & 3) && !(avr->data[TCCR1B] & 0x18)) {
        memset(l->shows, 0, sizeof l->shows);           /* a forced compare, which clears */
        avr->data[TCCR1C] = 0;
    }
    l->on = counts;
    if (counts && top) {
        uint32_t before = (uint32_t)(l->at % (2 * top)), now = (uint32_t)(avr->cycle % (2 * top));
        uint8_t turned = before < top && now >= top;
        for (int n = 0; n < 2; n++) { compare_unit(l, avr, n, now, top, turned); }
    }
    l->cycles[l->now] += avr->cycle - l->at;
    l->at = avr->cycle;
    uint8_t level = line_levels(l, avr);
    if (level != l->now) {
        l->now = level;
        l->since = avr->cycle;
    }
    uint32_t stood = (uint32_t)(avr->cycle - l->since);
    if (stood > l->longest[level]) { l->longest[level] = stood; }
}

/* From now on every instruction's lines are looked at; that takes time. */
void sim_watch_lines(sim_t *sim)
{
    sim->lines.watched = 1;
    sim->lines.at = sim->lines.since = sim->avr->cycle;
    sim->lines.now = line_levels(&sim->lines, sim->avr);
}

/* Cycles with each combination of levels, and the longest time in one, since the last call. */
void sim_lines(sim_t *sim, uint64_t *cycles, uint32_t *longest)
{
    memcpy(cycles, sim->lines.cycles, sizeof sim->lines.cycles);
    memcpy(longest, sim->lines.longest, sizeof sim->lines.longest);
    memset(sim->lines.cycles, 0, sizeof sim->lines.cycles);
    memset(sim->lines.longest, 0, sizeof sim->lines.longest);
    sim->lines.since = sim->lines.at;
}

/* ------------------------------------------------------------------ running */

static void watch(sim_t *sim)
{
    avr_t *avr = sim->avr;
    if (sim->lines.watched) { watch_lines(sim); }
    uint16_t stack = (uint16_t)(avr->data[SPL] | avr->data[SPH] << 8);
    /* its two halves are written one after the other: believe it when it stands */
    sim->stack_stands = stack == sim->stack ? (uint8_t)(sim->stack_stands + 1) : 0;
    sim->stack = stack;
    if (sim->stack_stands == 4 && stack < sim->lowest_stack) { sim->lowest_stack = stack; }
    if (sim->stack_stands > 4) { sim->stack_stands = 5; }
    if (avr->sreg[S_I]) {
        sim->interrupts_off_since = 0;
        return;
    }
    if (sim->interrupts_off_since == 0) {
        sim->interrupts_off_since = avr->cycle;
        sim->off_pc = avr->pc;
    }
    uint32_t off = (uint32_t)(avr->cycle - sim->interrupts_off_since);
    if (off > sim->longest_off) {
        sim->longest_off = off;
        sim->longest_off_pc = sim->off_pc;
    }
}

static int run(sim_t *sim, uint8_t wanted, uint64_t limit)
{
    avr_t *avr = sim->avr;
    uint64_t until = avr->cycle + limit;
    sim->events &= (uint8_t)~wanted;
    while (!(sim->events & (wanted | EVENT_RESET))) {
        uint32_t pc = avr->pc >> 1;
        uint64_t before = avr->cycle;
        int state = avr_run(avr);
        if (sim->profile && sim->working) {
            sim->profile[pc & 0x3FFF] += (uint32_t)(avr->cycle - before);
        }
        if (state == cpu_Done || state == cpu_Crashed) { return SIM_CRASHED; }
        watch(sim);
        if (avr->cycle >= until) { return SIM_TIMEOUT; }
    }
    if (sim->events & EVENT_RESET) {
        sim->events &= (uint8_t)~EVENT_RESET;
        arm_in(sim);
        return SIM_RESET;
    }
    return SIM_OK;
}

/* To the beginning of the next tick. */
int sim_to_tick(sim_t *sim, uint64_t limit)
{
    return run(sim, EVENT_BEGIN, limit);
}

/* To the end of this tick's work: its outputs stand. */
int sim_to_outputs(sim_t *sim, uint64_t limit)
{
    return run(sim, EVENT_END, limit);
}

/* Some cycles, wherever that leads. */
int sim_cycles(sim_t *sim, uint64_t cycles)
{
    int state = run(sim, 0, cycles);
    return state == SIM_TIMEOUT ? SIM_OK : state;
}

uint32_t sim_pc(const sim_t *sim) { return sim->avr->pc; }
uint64_t sim_now(const sim_t *sim) { return sim->avr->cycle; }
uint64_t sim_boundary(const sim_t *sim) { return sim->boundary; }
uint64_t sim_ended(const sim_t *sim) { return sim->ended; }
uint32_t sim_resets(const sim_t *sim) { return sim->resets; }
uint32_t sim_conversions(const sim_t *sim) { return sim->conversions; }
uint32_t sim_first_conversion(const sim_t *sim) { return (uint32_t)(sim->first_conversion - sim->boundary); }
uint32_t sim_last_conversion(const sim_t *sim) { return (uint32_t)(sim->last_conversion - sim->boundary); }
uint32_t sim_tick_length(const sim_t *sim) { return (uint32_t)(sim->ended - sim->started); }
uint8_t sim_in_tick(const sim_t *sim) { return sim->working; }
uint16_t sim_lowest_stack(const sim_t *sim) { return sim->lowest_stack; }
uint32_t sim_worst_tick(const sim_t *sim) { return sim->worst_tick; }
uint32_t sim_longest_off(const sim_t *sim) { return sim->longest_off; }
uint32_t sim_longest_off_pc(const sim_t *sim) { return sim->longest_off_pc; }

/* Figures from here on. */
void sim_measure(sim_t *sim)
{
    sim->lowest_stack = 0xFFFF;
    sim->worst_tick = 0;
    sim->longest_off = 0;
}

/* Cycles since interrupts went off; 0: they are on. */
uint32_t sim_off_for(const sim_t *sim)
{
    return sim->interrupts_off_since ? (uint32_t)(sim->avr->cycle - sim->interrupts_off_since) : 0;
}

uint8_t *sim_data(sim_t *sim) { return sim->avr->data; }

/* 16384 words, or NULL to end. */
void sim_profile(sim_t *sim, uint32_t *words) { sim->profile = words; }

void sim_eeprom(sim_t *sim, uint8_t *bytes)
{
    avr_eeprom_desc_t memory = { .ee = NULL, .offset = 0, .size = 1024 };
    avr_ioctl(sim->avr, AVR_IOCTL_EEPROM_GET, &memory);
    memcpy(bytes, memory.ee, 1024);
}

void sim_blank_eeprom(sim_t *sim)
{
    memset(sim->eeprom_start, 0xFF, sizeof sim->eeprom_start);
    avr_eeprom_desc_t memory = { .ee = sim->eeprom_start, .offset = 0, .size = 1024 };
    avr_ioctl(sim->avr, AVR_IOCTL_EEPROM_SET, &memory);
}
