# Independent check of wow and flutter with NumPy and SciPy.
# usage: flutter_check.py FILE RATE A B CARRIER   (float64 samples, seconds from A to B)
# Hilbert transform of the band around the carrier, momentary frequency, decimation to
# about 2 kHz, weighting as second-order sections by the bilinear transform. Prints in
# percent: unweighted r.m.s. 0.2 to 200 Hz, weighted r.m.s., level exceeded 5 % of the
# time, r.m.s. below 6 Hz, drift in %/min.
import sys
import numpy as np
from scipy import signal

x = np.fromfile(sys.argv[1], dtype="<f8")
rate, a, b, f0 = (float(v) for v in sys.argv[2:6])
x = x[int(a * rate):int(b * rate)]
sos = signal.butter(6, [f0 - 700, f0 + 700], "bandpass", fs=rate, output="sos")
z = signal.hilbert(signal.sosfiltfilt(sos, x))
f = np.diff(np.unwrap(np.angle(z))) * rate / (2 * np.pi)
step = int(rate // 2000)
f = signal.decimate(f, step, ftype="fir", zero_phase=True)
r = rate / step
edge = int(0.05 * r)  # ends of the Hilbert transform
f = f[edge:-edge]
d = 100 * (f / f.mean() - 1)
t = np.arange(len(d)) / r
slope = np.polyfit(t, d, 1)
flat = d - np.polyval(slope, t)

def band(lo, hi):
    s = np.fft.rfft(flat)
    k = np.fft.rfftfreq(len(flat), 1 / r)
    p = 2 * np.abs(s[(k >= lo) & (k <= hi)]) ** 2 / len(flat) ** 2
    return np.sqrt(p.sum())

# IEC 60386 weighting by the fitted formula: corners in hertz.
w = 2 * np.pi
pair = np.roots([1, w * 0.44033 / 0.66135, (w * 0.44033) ** 2])
poles = np.concatenate([[-w * 1.5126, -w * 9.0909, -w * 54.278], pair])
zeros = np.array([0, 0, 0, -w * 40.188])
_, h = signal.freqs_zpk(zeros, poles, 1, worN=[w * 4])
dz, dp, dk = signal.bilinear_zpk(zeros, poles, 1 / abs(h[0]), fs=r)
y = signal.sosfilt(signal.zpk2sos(dz, dp, dk), flat)
y = y[int(2 * r):]  # settled
print(band(0.15, 205))
print(np.sqrt(np.mean(y ** 2)))
print(np.quantile(np.abs(y), 0.95))
print(band(0.15, 6))
print(slope[0] * 60)
