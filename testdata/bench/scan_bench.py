# Times the Bernoulli scan in numpy on the reference row map, same settings and as
# many reshuffles as the Go benchmark: 924 inspected plants, shapes 1, 2 and 4
# along the row, windows up to a quarter of them, 999 reshuffles.
#   python3 testdata/bench/scan_bench.py testdata/reference/hotspots/data/rowmap-a.csv 999
# Prints the best ratio, its p and the best of 3 times in ms; the ratio must be that of
# `caneward hotspots`. Needs numpy (Debian: python3-numpy); no test depends on it.
import csv, sys, time
import numpy

plants = [p for p in csv.DictReader(open(sys.argv[1])) if p["status"] == "inspected"]
repeats, shapes, cap, least, tie = int(sys.argv[2]), (1, 2, 4), 0.25, 3, 1e-6
x, y = (numpy.array([float(p[axis]) for p in plants]) for axis in ("x_m", "y_m"))
sick = numpy.array([int(p["infected"]) for p in plants], dtype=numpy.int32)
N, C = len(sick), int(sick.sum())
most = int(cap * N)


def xlogx(v):
    return numpy.where(v > 0, v * numpy.log(numpy.maximum(v, 1)), 0.0)


# ratio[c, n]: of c cases among n plants; 0 where the rate inside is not higher.
c, n = numpy.meshgrid(numpy.arange(C + 1), numpy.arange(most + 1), indexing="ij")
ratio = (xlogx(c) + xlogx(n - c) - xlogx(n) + xlogx(C - c) + xlogx(N - n - C + c) - xlogx(N - n)
         - xlogx(C) - xlogx(N - C) + xlogx(N))
ratio[(c > n) | (c * N <= C * n) | (c < least)] = 0


def scan():
    random = numpy.random.default_rng(1)
    data = numpy.stack([sick] + [random.permutation(sick) for _ in range(repeats)], axis=1)
    best = numpy.zeros(repeats + 1)
    for shape in shapes:
        for i in range(N):
            far = numpy.hypot((x - x[i]) / shape, y - y[i])
            near = numpy.argsort(far, kind="stable")[: most + 1]
            ends = numpy.flatnonzero(numpy.append(numpy.diff(far[near]), 1) > tie)
            ends = ends[ends < most]
            inside = numpy.cumsum(data[near[: ends[-1] + 1]], axis=0, dtype=numpy.int32)[ends]
            numpy.maximum(best, ratio[inside, (ends + 1)[:, None]].max(axis=0), out=best)
    return best


took = float("inf")
for _ in range(3):
    start = time.perf_counter()
    best = scan()
    took = min(took, time.perf_counter() - start)
print("%d plants, best %.6f, p %.3f, %.0f ms" % (N, best[0], (best >= best[0] - 1e-9).mean(), took * 1000))
