"""Milliseconds from a dragged point to new numbers, on a measured sample photo: `bench_trace.py [samples]`.

Each kind of drag is done many times over; printed are the median and the slowest tenth, of the work behind the page
(change, geometry, samples, verdict) and of the whole answer to the browser's request.
"""

import sys
import tempfile
import threading
import time
from pathlib import Path

import httpx2
import numpy as np
import uvicorn

from digitize.trace import edits
from digitize.trace.addresses import HERE, listen
from digitize.trace.server import application
from digitize.trace.session import Session

ROUNDS = 40
ASKED = {"scale": ["ruler=300mm", "tube=33.2mm"], "behind": "0mm", "fins": "4", "balance": "390mm"}


def main(samples: Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        session = Session(Path(folder) / "results")
        session.load_photo(samples / "bramble-white-ruler.jpg")
        session.begin(ASKED)
        ends = np.concatenate([session.states[0].tip_px, session.states[0].aft_px])
        words = ",".join(f"{v:.1f}" for v in ends)
        length = f"{session.full.length_mm.value:.1f}mm"
        session.begin({**ASKED, "scale": [*ASKED["scale"], f"points={words},{length}"]})
        client = served(session)
        print(f"{'drag':12s} {'work, ms':>22s} {'answer, ms':>22s}")
        for name, change in drags(session, ends[2:]).items():
            work = timed(lambda d, c=change: session.preview(c(d)))
            answer = timed(lambda d, c=change: posted(client, c(d)))
            print(f"{name:12s} {work:>22s} {answer:>22s}")


def drags(session: Session, scale_end: np.ndarray) -> dict:
    """Name -> the change for a shift in pixels. The last two fit scale and axis again."""
    sketch = session.states[0]
    fin = edits.on_fin(sketch.fins[0], session.traced.pose, sketch.fins[0].roll_rad)
    body, root, off_axis = sketch.body_px, (fin[0] + fin[-1]) / 2, sketch.tip_px + np.array([0.0, 3.0])
    scale = {"do": "move-reference", "reference": len(ASKED["scale"]), "end": 1}
    return {
        "fin corner": lambda d: {"do": "move-fin-point", "group": 0, "point": 7, "to": (fin[7] + d).tolist()},
        "fin root": lambda d: {"do": "move-root", "group": 0, "to": (root + d).tolist()},
        "body edge": lambda d: {"do": "move-body", "point": 0, "to": (body[0] + d).tolist()},
        "nose tip": lambda d: {"do": "move-end", "end": "tip", "to": (sketch.tip_px + d).tolist(), "snap": 20},
        "scale end": lambda d: {**scale, "to": (scale_end + d).tolist()},
        "axis end": lambda d: {"do": "move-end", "end": "tip", "to": (off_axis + d).tolist(), "snap": 0},
    }


def served(session: Session) -> httpx2.Client:
    """The page's own server in a thread of its own, and a client that keeps its connection as a browser does."""
    made = listen(0)
    host = f"{HERE}:{made.getsockname()[1]}"
    config = uvicorn.Config(application(session, frozenset({host}), "token"), log_level="error", lifespan="off")
    threading.Thread(target=uvicorn.Server(config).run, kwargs={"sockets": [made]}, daemon=True).start()
    return httpx2.Client(base_url=f"http://{host}", headers={"Origin": f"http://{host}"})


def posted(client: httpx2.Client, change: dict) -> None:
    answer = client.post("/token/preview", json=change)
    assert answer.status_code == 200, answer.text


def timed(step) -> str:
    taken = []
    for k in range(ROUNDS):
        begun = time.perf_counter()
        step(np.array([0.3 * k, 0.2 * k]) % 7)
        taken.append(1000 * (time.perf_counter() - begun))
    return f"{np.median(taken):.0f} (worst 10 %: {np.quantile(taken, 0.9):.0f})"


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "samples"))
