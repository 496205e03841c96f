# Independent check of the weightings with SciPy.
#   weighting_check.py analogue < frequencies   prints A, 468 and flutter in dB for each
#   weighting_check.py sections FILE (GAIN and three times b1 b2 a1 a2) ...   filters the float64 of
#   FILE with each filter in turn, prints the results one after the other
import os
import sys

import numpy as np
from scipy import signal

here = os.path.dirname(os.path.abspath(__file__))


def decibel(z, p, ref, hz):
    """Magnitude of an analogue network, 0 dB at ref."""
    w = 2 * np.pi * np.concatenate(([ref], hz))
    _, h = signal.freqs_zpk(z, p, 1, worN=w)
    db = 20 * np.log10(np.abs(h))
    return db[1:] - db[0]


def weighting_a(hz):
    # IEC 61672-1:2013, Annex E: poles from the five agreed numbers.
    fr, fl, fh, fa, d = 1e3, 10**1.5, 10**3.9, 10**2.45, 0.5**0.5
    c = fl**2 * fh**2
    b = (fr**2 + c / fr**2 - d * (fl**2 + fh**2)) / (1 - d)
    f1 = np.sqrt((-b - np.sqrt(b**2 - 4 * c)) / 2)
    f4 = np.sqrt((-b + np.sqrt(b**2 - 4 * c)) / 2)
    f2, f3 = (3 - 5**0.5) / 2 * fa, (3 + 5**0.5) / 2 * fa
    return decibel([0] * 4, -2 * np.pi * np.array([f1, f1, f2, f3, f4, f4]), 1000, hz)


def weighting_468(hz):
    # Poles and zero of the table derived from ITU-R BS.468-4, Fig. 1a.
    z, p = [], []
    with open(os.path.join(here, "02_bs468_poles_zeros.csv")) as f:
        for line in f:
            kind, *rest = line.split(",")
            if kind == "zero":
                z.append(complex(float(rest[0]), float(rest[1])))
            if kind == "pole":
                p.append(complex(float(rest[0]), float(rest[1])))
    assert len(z) == 1 and len(p) == 6
    return decibel(z, p, 1000, hz)


def weighting_flutter(hz):
    # The rational fit in the head of 01_wow_flutter_weighting.csv.
    f1, f2, q2, f3, f4, fz = 1.5126, 0.44033, 0.66135, 9.0909, 54.278, 40.188
    w2 = 2 * np.pi * f2
    p = list(np.roots([1, w2 / q2, w2**2])) + list(-2 * np.pi * np.array([f1, f3, f4]))
    return decibel([0] * 3 + [-2 * np.pi * fz], p, 4, hz)


if sys.argv[1] == "analogue":
    hz = np.array([float(s) for s in sys.stdin.read().split()])
    for row in zip(weighting_a(hz), weighting_468(hz), weighting_flutter(hz)):
        print(*("%.12g" % v for v in row))
else:
    x = np.fromfile(sys.argv[2], dtype="<f8")
    for v in np.array([float(s) for s in sys.argv[3:]]).reshape(-1, 13):
        c = v[1:].reshape(3, 4)
        sos = np.column_stack((np.ones(3), c[:, :2], np.ones(3), c[:, 2:]))
        for y in signal.sosfilt(sos, v[0] * x):
            print("%.17g" % y)
