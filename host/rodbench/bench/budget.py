"""Motor time against the board's duty budget: said first, rested for where it is short."""

from __future__ import annotations

from rodbench.errors import NoAnswer
from rodbench.science.duty import Plan, plan
from rodbench.settings.units import minutes

from .job import BOARD_PERIOD_S, Job

LOOK_EVERY_S = 5.0
TELLS = 5  # board periods to wait for word of the budget
MOVE_SPARE, MOVE_RESERVE_S = 1.2, 0.5
FULL_SHARE = 0.9  # a whole budget is never quite free: the newest bins count as used


class Budget:
    """The duty budget of one axis, as the board keeps it."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.share = job.live["duty_share_permille"] / 1000.0
        self.window_s = float(job.live["duty_window_s"])

    @property
    def whole_s(self) -> float:
        """On-time in s that a window allows."""
        return self.share * self.window_s

    def left_s(self) -> float:
        """On-time in s that may be spent now. Raises NoAnswer when the board does not tell."""
        board = self.job.board
        seen = board.last_board.tick if board.last_board else -1
        board.subscribe(0.0, BOARD_PERIOD_S)
        for _ in range(TELLS):
            board.sleep(BOARD_PERIOD_S)
            if board.last_board and board.last_board.tick != seen:
                return board.last_board.duty_left_s[self.job.number - 1]
        raise NoAnswer("the board sends no telemetry", kept="The rod stands still.")

    def move_s(self, way_mm: float) -> float:
        """On-time in s without which the board begins no move over a way: a fifth above its time at
        full speed, its ramps, a reserve (SPEC.md, move) and what the noise of the place may add."""
        live = self.job.live
        speed = live["speed_max_um_s"]
        ramps = sum(speed / live[key] for key in ("acceleration_um_s2", "deceleration_um_s2"))
        return MOVE_SPARE * 1000.0 * way_mm / speed + ramps + MOVE_RESERVE_S

    def say_cost(self, motor_s: float, how: str = "") -> Plan:
        """Say what a procedure will cost before it starts; `how` says what the figure rests on."""
        cost = plan(motor_s, self.left_s(), self.share, self.window_s)
        rest = (
            "No rest needed."
            if cost.rests == 0
            else f"About {cost.rests} rest{'s' * (cost.rests > 1)}, {minutes(cost.rest_s)} in all."
        )
        self.job.say(
            f"       Planned: {minutes(motor_s)} of motor time{how and ' ' + how}. Left: "
            f"{minutes(cost.left_s)} of {minutes(self.whole_s)} ({100 * self.share:.0f} % in "
            f"{self.window_s / 60:.0f} min). {rest}"
        )
        return cost

    def ensure(self, need_s: float, doing: str, all_s: float = 0.0) -> None:
        """Rest unless `need_s` of on-time may be spent: then until there is as much (at most nine
        tenths of a budget), or enough for `all_s` that is to follow."""
        most_s = FULL_SHARE * self.whole_s
        need_s, left = min(need_s, most_s), self.left_s()
        if left >= need_s:
            return
        goal_s = max(need_s, min(all_s, most_s))
        self.job.say(
            f"       Resting until {minutes(goal_s)} of motor time may be spent, for {doing}"
            f"{' and what follows' if goal_s > need_s else ''}."
        )
        while self.left_s() < goal_s:
            self.job.board.subscribe(0.0, 1.0)
            self.job.board.sleep(LOOK_EVERY_S)
