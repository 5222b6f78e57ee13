"""A recording on the page: a slider of time, the gaps in words, no controls."""

from __future__ import annotations

from nicegui import ui

from rodbench.page.look.parts import button
from rodbench.page.replay import ReplayFeed
from rodbench.record.recording import Gap
from rodbench.settings.units import minutes


class Slider:
    """Where in the recording the page stands."""

    def __init__(self, feed: ReplayFeed) -> None:
        self.feed = feed
        with ui.element("div").classes("acts replaying"):
            self._play = button("Play", self._played, main=True)
            button("Back 10 s", lambda: feed.seek(feed.at_s - 10))
            button("On 10 s", lambda: feed.seek(feed.at_s + 10))
            self._at = ui.label()
        self._slider = ui.slider(min=0, max=max(0.1, feed.duration_s), step=0.1, value=feed.at_s)
        self._slider.props("aria-label='Time in the recording'").classes("time")
        self._slider.on("update:model-value", self._sought, throttle=0.1)
        self._slider.on("keydown.home", lambda: feed.seek(0.0))
        self._slider.on("keydown.end", lambda: feed.seek(feed.duration_s))
        self._gaps = ui.label()

    def show(self) -> None:
        """Follow the replay."""
        feed = self.feed
        self._play.text = "Pause" if feed.playing else "Play"
        self._at.text = f"{minutes(feed.at_s)} of {minutes(feed.duration_s)}"
        if self._slider.value != feed.at_s:
            self._slider.value = feed.at_s
        self._gaps.text = gap_words(feed)

    def _played(self) -> None:
        self.feed.playing = not self.feed.playing

    def _sought(self) -> None:
        self.feed.seek(float(self._slider.value))


def gap_words(feed: ReplayFeed) -> str:
    """Where nothing was recorded."""
    if not feed.gaps:
        return "No gaps: every sample that the board sent is here."
    return f"Gaps: {'; '.join(map(_gap, feed.gaps))}."


def _gap(gap: Gap) -> str:
    """With its place as the slider says it."""
    lost = "" if gap.missed is None else f", {gap.missed} frames missing"
    return f"at {minutes(gap.start_s)} for {gap.end_s - gap.start_s:.2f} s: {gap.why}{lost}"
