# Independent check of weighted noise and hum with NumPy and SciPy.
# usage: scipy_noise.py FILE RATE MAINS   (float64 samples of a silent section)
# Prints in dB re full scale: the A-weighted r.m.s. from 20 Hz to 20 kHz, the mean of
# the quasi-peak meter, and the r.m.s. of MAINS hertz with its first ten harmonics.
# Weightings: IEC 61672-1, Annex E; polynomials for ITU-R BS.468-4. The detector's
# rates (654, 3.34 and 7.23 per second) were fitted to that Recommendation's bursts.
import sys
import numpy as np
from scipy import signal

x = np.fromfile(sys.argv[1], dtype="<f8")
rate, mains = float(sys.argv[2]), float(sys.argv[3])
n = len(x)
f = np.fft.rfftfreq(n, 1 / rate)


def a_weighting(f):
    q = f * f
    return 10 ** 0.1 * (12194.217 ** 2 * q * q / ((q + 20.598997 ** 2) * np.sqrt((q + 107.65265 ** 2) * (q + 737.86223 ** 2)) * (q + 12194.217 ** 2)))


def noise_468(f):
    h1 = -4.737338981378384e-24 * f ** 6 + 2.043828333606125e-15 * f ** 4 - 1.363894795463638e-7 * f ** 2 + 1
    h2 = 1.306612257412824e-19 * f ** 5 - 2.118150887518656e-11 * f ** 3 + 5.559488023498642e-4 * f
    return 1.246332637532143e-4 * f / np.sqrt(h1 ** 2 + h2 ** 2)


g, p = signal.periodogram(x, rate, window="hann", detrend="constant")
k = (g >= 20) & (g <= 20000)
print(10 * np.log10((p[k] * a_weighting(g[k]) ** 2).sum() * rate / n))

# Zero phase: a detector sees the same magnitudes, and noise has no phase to keep.
weigh = lambda s: np.fft.irfft(np.fft.rfft(s) * noise_468(f) / noise_468(np.array([1000.0]))[0], n)
att, dec, lag = (1 - np.exp(-r / rate) for r in (654.0, 3.34, 7.23))


def meter(s):
    u = 0.0
    us = np.empty(len(s))
    for i, v in enumerate(np.abs(s).tolist()):
        u -= dec * u
        if v > u:
            u += att * (v - u)
        us[i] = u
    return signal.lfilter([lag], [1, lag - 1], us)


one = np.sin(2 * np.pi * 1000 * np.arange(int(2 * rate)) / rate)
scale = np.sqrt(0.5) / meter(one)[int(1.8 * rate):].mean()
print(20 * np.log10(scale * meter(weigh(x))[int(1.1 * rate):].mean()))

t = np.arange(n) / rate
cols = [fn(2 * np.pi * mains * h * t) for h in range(1, 11) for fn in (np.cos, np.sin)]
best = np.linalg.lstsq(np.stack(cols, axis=1), x - x.mean(), rcond=None)[0]
print(10 * np.log10((best ** 2).sum() / 2))
