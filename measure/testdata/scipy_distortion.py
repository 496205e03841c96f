# Independent check of harmonics with NumPy and SciPy.
# usage: scipy_distortion.py FILE RATE A B TONE   (float64 samples, seconds from A to B)
# Prints harmonics 2 and 3 and the root of the sum of squares of 2 to 5, in percent of
# the fundamental, twice: from the power in a Blackman-Harris spectrum around each line
# (noise taken from beside it), and by least squares on sin and cos of n times the phase
# of the analytic signal of the band-passed fundamental.
import sys
import numpy as np
from scipy import signal

x = np.fromfile(sys.argv[1], dtype="<f8")
rate, a, b, tone = (float(v) for v in sys.argv[2:6])
x = x[int(a * rate):int(b * rate)]

w = signal.get_window("blackmanharris", len(x), fftbins=False)
f, p = signal.periodogram(x, rate, window=w, detrend="constant", scaling="density")

def line(n):
    half = 12 + 0.012 * n * tone
    near = np.abs(f - n * tone) < half
    beside = (np.abs(f - n * tone) >= half) & (np.abs(f - n * tone) < 2 * half)
    return p[near].sum() - p[beside].mean() * near.sum()

h = np.sqrt(np.maximum(0, [line(n) / line(1) for n in (2, 3, 4, 5)]))
print(100 * h[0], 100 * h[1], 100 * np.sqrt((h ** 2).sum()))

sos = signal.butter(4, [0.85 * tone, 1.15 * tone], "bandpass", fs=rate, output="sos")
phase = np.unwrap(np.angle(signal.hilbert(signal.sosfiltfilt(sos, x))))
k = slice(int(0.3 * rate), len(x) - int(0.3 * rate))  # ends of the filters
cols = [np.ones(len(phase[k]))]
for n in range(1, 6):
    cols += [np.cos(n * phase[k]), np.sin(n * phase[k])]
cols = np.array(cols)
c = np.linalg.solve(cols @ cols.T, cols @ x[k])
h = np.hypot(c[1::2], c[2::2])
print(100 * h[1] / h[0], 100 * h[2] / h[0], 100 * np.sqrt((h[1:] ** 2).sum()) / h[0])
