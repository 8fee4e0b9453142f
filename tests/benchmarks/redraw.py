"""How long it takes from a key to the redraw: `python tests/benchmarks/redraw.py`.

Prints median and 99th percentile of the full screen at 80x24 and 120x40 for three keys: a letter typed while
legal moves are offered, a cell of the ballot marked, the board turned. The baseline next to it is a bare
prompt_toolkit application that echoes the same letter. Limits: median at most 10 ms, 99th percentile at most
33 ms, wall clock, on an idle machine. The processor time is printed too; other programs do not lengthen it.
"""

from __future__ import annotations

import asyncio
import io
import statistics
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from made_tasks import MEMORY, doubled_rooks  # noqa: E402
from prompt_toolkit import Application  # noqa: E402
from prompt_toolkit.buffer import Buffer  # noqa: E402
from prompt_toolkit.data_structures import Size  # noqa: E402
from prompt_toolkit.input import PipeInput, create_pipe_input  # noqa: E402
from prompt_toolkit.layout import BufferControl, Layout, Window  # noqa: E402
from prompt_toolkit.output import ColorDepth, Output  # noqa: E402
from prompt_toolkit.output.vt100 import Vt100_Output  # noqa: E402

from decks.review.session import start  # noqa: E402
from decks.screen.app import Screen  # noqa: E402
from decks.screen.look import Look  # noqa: E402

KEYS = 400
MEDIAN_AT_MOST, P99_AT_MOST = 10.0, 33.0
CTRL_T, BACKSPACE = "\x14", "\x7f"


@dataclass(frozen=True)
class Times:
    """Milliseconds from each key to the end of its redraw, in wall clock and processor time."""

    wall: list[float]
    processor: list[float]

    def __str__(self) -> str:
        wall = f"median {statistics.median(self.wall):5.2f} ms  p99 {p99(self.wall):5.2f} ms"
        return f"{wall}  (processor {statistics.median(self.processor):5.2f}, {p99(self.processor):5.2f})"


def p99(times: list[float]) -> float:
    """The 99th percentile."""
    return statistics.quantiles(times, n=100)[98]


def output(columns: int, rows: int) -> Output:
    """A terminal that accepts everything and shows nothing."""
    size = Size(rows=rows, columns=columns)
    return Vt100_Output(io.StringIO(), lambda: size, term="xterm-256color", enable_cpr=False)


async def milliseconds(app: Application[None], pipe: PipeInput, keys: str) -> Times:
    """Times of KEYS keys, taken in turn from `keys`, from sending the key to the end of its redraw."""
    drawn = asyncio.Event()
    app.after_render += lambda _: drawn.set()
    running = asyncio.create_task(app.run_async())
    await drawn.wait()
    await asyncio.sleep(0.8)  # the explanation in the background is done
    wall, processor = [], []
    for number in range(KEYS):
        drawn.clear()
        begun, worked = time.perf_counter(), time.process_time()
        pipe.send_text(keys[number % len(keys)])
        await asyncio.wait_for(drawn.wait(), 5)
        wall.append(1000 * (time.perf_counter() - begun))
        processor.append(1000 * (time.process_time() - worked))
        await asyncio.sleep(0)
    app.exit()
    await running
    return Times(wall, processor)


def bare() -> Times:
    """The baseline: one line of text in an empty application."""
    with create_pipe_input() as pipe:
        app: Application[None] = Application(
            layout=Layout(Window(BufferControl(Buffer()))),
            full_screen=True,
            input=pipe,
            output=output(80, 24),
        )
        return asyncio.run(milliseconds(app, pipe, "R" + BACKSPACE))


def ours(asks: tuple[str, ...], keys: str, columns: int, rows: int) -> Times:
    """The full screen with the tests' card on it."""
    with create_pipe_input() as pipe:
        screen = Screen(
            start([doubled_rooks(*asks)], at=time.monotonic()),
            lambda effect: MEMORY,
            time.monotonic,
            Look(),
            (pipe, output(columns, rows)),
            ColorDepth.DEPTH_24_BIT,
        )
        return asyncio.run(milliseconds(screen.app, pipe, keys))


def main() -> None:
    baseline = bare()
    print(f"{'bare prompt_toolkit, a letter':33} {baseline}")
    base = statistics.median(baseline.wall)
    measured: tuple[tuple[str, str, str], ...] = (
        ("a letter, moves offered", "play", "R" + BACKSPACE),
        ("a cell of the ballot", "assess", "Ww=bB"),
        ("the board turned", "play", CTRL_T),
    )
    too_slow = []
    for columns, rows in ((80, 24), (120, 40)):
        for name, ask, keys in measured:
            times = ours((ask,), keys, columns, rows)
            median = statistics.median(times.wall)
            label = f"{columns}x{rows}, {name}"
            print(f"{label:33} {times}  {median / base:4.1f} times bare")
            if median > MEDIAN_AT_MOST or p99(times.wall) > P99_AT_MOST:
                too_slow.append(label)
    if too_slow:
        raise SystemExit(f"too slow: {'; '.join(too_slow)}")


if __name__ == "__main__":
    main()
