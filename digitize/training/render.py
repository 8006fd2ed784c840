"""Scenes drawn on worker processes and cast on the GPU."""

import multiprocessing
import os
import queue as queues
from pathlib import Path

import numpy as np
import torch

from digitize.training.collages import collages
from digitize.training.scene import scene
from digitize.training.scene_arrays import AT, PICTURE, PLANES, defines

SEED_STEP = 100_000_007


class Renderer:
    """Blocks of scenes to planes, on the current GPU."""

    def __init__(self):
        import cupy

        self._cupy = cupy
        source = (Path(__file__).parent / "raycast.cu").read_text()
        names = tuple(f"-D{name}={value}" for name, value in defines().items())
        module = cupy.RawModule(code=source, options=("--use_fast_math", "-std=c++14", *names))
        self._kernel = module.get_function("render")
        self._collages = torch.from_numpy(collages()).cuda().contiguous()

    def __call__(self, scenes: np.ndarray, size: float = 1.0) -> torch.Tensor:
        """(n, SCENE_SIZE) float32 to (n, 10, H, W), size times as large as PICTURE."""
        blocks = torch.from_numpy(scenes).cuda()
        camera = AT["CAMERA"]
        blocks[:, camera + 12] *= size
        blocks[:, camera + 13 : camera + 15] = (blocks[:, camera + 13 : camera + 15] + 0.5) * size - 0.5
        height, width = (int(n * size) for n in PICTURE)
        planes = torch.empty(len(blocks), len(PLANES), height, width, device="cuda")
        stream = self._cupy.cuda.Stream.from_external(torch.cuda.current_stream())
        with stream:
            sizes = (np.int32(width), np.int32(height))
            pointers = (np.uintp(t.data_ptr()) for t in (blocks, self._collages, planes))
            self._kernel((width // 16, height // 8, len(blocks)), (16, 8, 1), (*pointers, *sizes))
        return torch.nan_to_num(planes, 0.0, 4.0, 0.0)


def _work(queue, seed: int, batch: int) -> None:
    os.environ["OMP_NUM_THREADS"] = "1"
    k = 0
    while True:
        queue.put(np.stack([scene(seed * SEED_STEP + k + j) for j in range(batch)]))
        k += batch


def scene_source(workers: int, batch: int, seed: int):
    """A function that returns the next (batch, SCENE_SIZE) scenes, and the processes behind it."""
    context = multiprocessing.get_context("fork")
    queue = context.Queue(64)
    processes = [context.Process(target=_work, args=(queue, seed + k, batch), daemon=True) for k in range(workers)]
    for process in processes:
        process.start()

    def following() -> np.ndarray:
        while True:
            try:
                return queue.get(timeout=20)
            except queues.Empty:
                if not any(process.is_alive() for process in processes):
                    raise RuntimeError("every worker that draws scenes has ended") from None

    return following, processes
