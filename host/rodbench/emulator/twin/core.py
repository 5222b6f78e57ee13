"""The whole core: what the emulated board calls."""

from __future__ import annotations

from rodbench_protocol.names import EventKind, Fault, Inputs, ResetCause, StopInput
from rodbench_protocol.schema import load_schema

from rodbench.emulator.signals import Outputs, Readings
from rodbench.emulator.twin.axis import (
    Axis,
    AxisIn,
    AxisOut,
    axis_at_rest,
    axis_init,
    axis_stop,
    axis_stop_by_board,
    axis_tick,
)
from rodbench.emulator.twin.blackbox import blackbox_tick
from rodbench.emulator.twin.dispatch import Session, dispatch_tick
from rodbench.emulator.twin.div import div_nearest
from rodbench.emulator.twin.draft import Draft, settings_good
from rodbench.emulator.twin.duty import duty_room, duty_tick
from rodbench.emulator.twin.event import event_board, event_send
from rodbench.emulator.twin.gang import Gang, gang_tick
from rodbench.emulator.twin.hot import Hot, hot_start, hot_tick
from rodbench.emulator.twin.local import local_tick
from rodbench.emulator.twin.memory import Memory, memory_tick
from rodbench.emulator.twin.noinit import NoInit, noinit_complete, noinit_mark, noinit_start
from rodbench.emulator.twin.rx import Rx, rx_bytes, rx_damage
from rodbench.emulator.twin.store import (
    STORE_DAMAGED,
    STORE_LOADED,
    Settings,
    Store,
    settings_defaults,
    store_load,
)
from rodbench.emulator.twin.telemetry import Telemetry, telemetry_tick
from rodbench.emulator.twin.thermal import thermal_permille, thermal_tick
from rodbench.emulator.twin.totals import totals_start, totals_tick
from rodbench.emulator.twin.trips import Trips, trips_start
from rodbench.emulator.twin.tx import Tx, tx_tick

AXES = 2
BANDGAP_MV = 1100
LATE_WEIGHT = 26
SUPPLY_LOW_TICKS = 40
SUPPLY_HIGH_TICKS = 4
STOP_INPUT_TICKS = 4
GUARDS = 3
KIND = load_schema().board_kinds["atmega328p_5v"]
_U16_MAX = 0xFFFF
_SUPPLY_LOW, _SUPPLY_HIGH = int(Fault.SUPPLY_LOW), int(Fault.SUPPLY_HIGH)
_STOP_INPUT = int(Fault.STOP_INPUT)


class Counters:
    """What the board has counted since its start."""

    __slots__ = (
        "alive_ignored",
        "frames_bad",
        "frames_dropped",
        "frames_good",
        "late_ticks",
        "repeats",
        "requests_done",
        "unasked_dropped",
        "worst_tick_us",
    )

    def __init__(self) -> None:
        self.requests_done = self.frames_good = 0
        self.frames_bad = self.frames_dropped = self.repeats = 0
        self.alive_ignored = self.unasked_dropped = 0
        self.late_ticks = self.worst_tick_us = 0


class Twin:
    """A board's firmware from one start to the next reset.

    `eeprom` is read only: the board carries out what Outputs says of writes. `noinit` is the
    record of the run before, or None after a power loss; `.noinit` is that for the next.
    `reset_flags` are the RESET_FLAG_ bits.
    """

    def __init__(
        self, eeprom: bytearray, noinit: NoInit | None, reset_flags: int, nonce_seed: int
    ) -> None:
        self.ticks = 0
        self.faults = 0
        self.eeprom = eeprom
        self.noinit = NoInit() if noinit is None else noinit
        self.live = Settings()
        self.axis = [Axis() for _ in range(AXES)]
        self.rx, self.tx = Rx(), Tx()
        self.session, self.draft, self.store = Session(), Draft(), Store()
        self.memory, self.hot, self.trips = Memory(), Hot(), Trips()
        self.telemetry, self.counters, self.gang = Telemetry(), Counters(), Gang()
        self.supply_mv = self.board_5v_mv = 0
        self.event_number = 0
        self.heard = 0
        self.barred = 0
        self.duty_wait_s = 0
        self.late_pending = self.late_level = 0
        self.wrong_ticks = [0] * GUARDS
        self.stops_for = 0
        self.inputs = 0
        self.ee_ready = 0
        self.restart_in = 0
        self._axis_in, self._axis_out = AxisIn(), AxisOut()
        self.reset_cause, kept = noinit_start(self.noinit, reset_flags, nonce_seed)
        self._faults_of_reset()
        self._load_settings()
        for index in range(AXES):
            axis_init(self.axis[index])
        hot_start(self, kept)
        trips_start(self)
        totals_start(self, kept)
        noinit_complete(self.noinit)

    # ------------------------------------------------------------ start

    def _fault(self, number: int) -> None:
        self.faults |= 1 << (number - 1)

    def _faults_of_reset(self) -> None:
        if self.reset_cause == ResetCause.WATCHDOG:
            self._fault(Fault.WATCHDOG)
        elif self.reset_cause == ResetCause.ASSERTION:
            self._fault(Fault.ASSERTION)

    def _load_settings(self) -> None:
        found = store_load(self.store, self.live, self.eeprom)
        if found == STORE_LOADED and not settings_good(self.live):
            settings_defaults(self.live)
            self.store.digest = 0
            found = STORE_DAMAGED
        if found == STORE_DAMAGED:
            self._fault(Fault.SETTINGS)

    # ------------------------------------------------------------ line

    def receive(self, data: bytes) -> None:
        """Bytes from the line."""
        rx_bytes(self.rx, data)

    def damage(self) -> None:
        """The line saw a framing error or lost a byte."""
        rx_damage(self.rx)

    def transmit(self) -> bytes:
        """All bytes that wait to be sent."""
        data, self.tx.ring = self.tx.ring, b""
        return data

    # ------------------------------------------------------------ tick

    def tick(self, readings: Readings) -> Outputs:
        """One tick with the readings completed in the tick before."""
        out = Outputs()
        self.ticks += 1
        tx_tick(self.tx)
        self.ee_ready = readings.ee_ready
        dispatch_tick(self)
        blackbox_tick(self)
        local_tick(self, readings)
        self._control(readings, out)
        self._tell_board()
        telemetry_tick(self)
        memory_tick(self, out)
        if self.restart_in:
            self._restart_step(out)
        out.alarm = int(self.faulted())
        return out

    def faulted(self) -> bool:
        """A fault is latched."""
        return (self.faults | self.axis[0].faults | self.axis[1].faults) != 0

    def stop(self, index: int, category: int, reason: int) -> None:
        """axis_stop of one axis."""
        axis_stop(self.axis[index], self.live.scope[index + 1], category, reason)

    def trip(self, number: int) -> None:
        """Latches a fault of the board, which stops both axes in their next tick."""
        before = self.faults
        self._fault(number)
        if self.faults != before:
            if not before & 1 << (Fault.SUPPLY_HIGH - 1):  # which stops at once
                self.stops_for = int(number)
            event_board(self, EventKind.TRIP, number, 0)

    def at_rest(self) -> bool:
        """Both axes: no motion, output 0."""
        return bool(axis_at_rest(self.axis[0]) and axis_at_rest(self.axis[1]))

    def _control(self, readings: Readings, out: Outputs) -> None:
        board, axis_in = self.live.board, self._axis_in
        axis_in.tick = self.ticks
        axis_in.board_mv = board.board_5v_mv or KIND.adc_reference_mv
        self._read_supply(readings, axis_in.board_mv)
        self.inputs = readings.inputs
        self._watch_board()
        nominal = board.supply_nominal_mv
        axis_in.supply_nominal_mv = nominal
        axis_in.supply_mv = self.supply_mv if board.supply_calibrated else nominal
        gang_tick(self)
        hot_tick(self)
        for index in range(AXES):
            axis_in.raw = readings.pot[index]
            axis_in.current4 = readings.current[index]
            self._control_axis(index, out)

    def _read_supply(self, readings: Readings, board_mv: int) -> None:
        input_mv = div_nearest(readings.supply * board_mv, KIND.supply_full_scale)
        supply_mv = div_nearest(input_mv * self.live.board.supply_ratio_x1000, 1000)
        self.supply_mv = min(supply_mv, _U16_MAX)
        if readings.bandgap:
            own_mv = div_nearest(BANDGAP_MV * KIND.supply_full_scale, readings.bandgap)
            self.board_5v_mv = min(own_mv, _U16_MAX)

    def _judge(self, number: int, wrong: bool, patience: int) -> None:
        """A fault whose cause must stand for so many ticks in a row; then it comes back at once."""
        place = number - _SUPPLY_LOW
        ticks = self.wrong_ticks[place] + 1 if wrong else 0
        if ticks >= patience:
            ticks = patience - 1
            self.trip(number)
        self.wrong_ticks[place] = ticks

    def _watch_board(self) -> None:
        board = self.live.board
        mv, low, high = self.supply_mv, board.supply_low_mv, board.supply_high_mv
        if not board.supply_calibrated:
            low, high = 0, 0
        self._judge(_SUPPLY_LOW, mv < low, SUPPLY_LOW_TICKS)
        self._judge(_SUPPLY_HIGH, 0 < high < mv, SUPPLY_HIGH_TICKS)
        wired = board.stop_input != StopInput.NOT_WIRED
        self._judge(_STOP_INPUT, wired and not self.inputs & Inputs.STOP, STOP_INPUT_TICKS)
        if self.late_level > 2 * LATE_WEIGHT:
            self.trip(Fault.LATE_TICK)
        if self.late_level and self.ticks & 7 == 0:
            self.late_level -= 1

    def _control_axis(self, index: int, out: Outputs) -> None:
        axis, settings = self.axis[index], self.live.scope[index + 1]
        duty, axis_out = self.noinit.duty[index], self._axis_out
        axis_in, heat = self._axis_in, self.noinit.heat
        axis_in.duty_room = duty_room(duty, settings)
        axis_in.waits = self.hot.cover == 0
        if axis_in.waits and axis.output_permille:
            axis_in.duty_room = 0
        heat[index] = thermal_tick(heat[index], settings, axis.current_ma)
        axis_in.heat = thermal_permille(heat[index])
        if self.faults:
            axis_stop_by_board(axis, settings, self.stops_for)
        axis_tick(axis, settings, axis_in, axis_out)
        duty_tick(duty, axis_out.drive != 0)
        if axis_out.drive:
            self.hot.cover -= 1
            totals_tick(self, index)
        out.drive[index] = axis_out.drive
        out.bridge[index] = axis_out.bridge
        out.driver[index] = settings.driver
        for event in axis_out.event:
            event_send(self, index + 1, event, axis_out.output_before)

    def _tell_board(self) -> None:
        if self.ticks == 1:
            event_board(self, EventKind.BOOT, self.reset_cause, 0)
            for number in Fault:
                if self.faults >> (number - 1) & 1:
                    event_board(self, EventKind.TRIP, number, 0)
        if self.late_pending:
            event_board(self, EventKind.LATE_TICK, 0, self.late_pending)
            self.late_pending = 0

    def _restart_step(self, out: Outputs) -> None:
        out.restart = int(self.restart_in == 1)
        if self.restart_in > 1:
            self.restart_in -= 1
        if out.restart:
            noinit_mark(self.noinit, ResetCause.RESTART)

    def late_tick(self) -> None:
        """Between ticks: the last one ended late."""
        self.counters.late_ticks = (self.counters.late_ticks + 1) & _U16_MAX
        if self.late_level <= 2 * LATE_WEIGHT:
            self.late_level += LATE_WEIGHT
        self.late_pending = min(self.late_pending + 1, 0xFF)
