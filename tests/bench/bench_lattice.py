"""Seconds of the fins' second solution for usual rockets, beside the component method in the same run.

python tests/bench/bench_lattice.py
"""

import timeit

import numpy as np

from digitize.aero.components import centre_of_pressure
from digitize.aero.methods import readings
from digitize.records import FinGroup, Geometry

BODY = np.array([[0, 0], [60, 12], [300, 12]], float)
PLAIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
T = np.linspace(0, np.pi, 41)
CURVED = np.column_stack([275 - 25 * np.cos(T), 12 + 40 * np.sin(T)])
ROCKETS = {
    "three plain fins": ((3, PLAIN),),
    "four curved fins": ((4, CURVED),),
    "three and three fins": ((3, PLAIN - [100, 0]), (3, PLAIN)),
    "three and four fins": ((3, PLAIN - [100, 0]), (4, PLAIN)),
    "four and six fins": ((4, PLAIN - [100, 0]), (6, CURVED)),
}


def main() -> None:
    for name, groups in ROCKETS.items():
        rocket = Geometry(name, BODY, tuple(FinGroup(count, outline) for count, outline in groups))
        second = min(timeit.repeat(lambda rocket=rocket: readings(rocket), number=1, repeat=5))
        first = min(timeit.repeat(lambda rocket=rocket: centre_of_pressure(rocket), number=1, repeat=5))
        print(f"{name:20} all methods {second:.3f} s, component method {first:.4f} s, ratio {second / first:.0f}")


if __name__ == "__main__":
    main()
