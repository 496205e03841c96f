# Independent check of level and noise with NumPy and SciPy.
# usage: scipy_check.py FILE RATE A B TONE   (float64 samples, seconds from A to B)
#        scipy_check.py FILE RATE A B
# With a tone prints its level in dBFS (full-scale sine = 0) from the power of a
# Blackman-Harris spectrum around it; without, the r.m.s. from 20 Hz to 20 kHz in dB
# re full scale, once by Welch's method and once by one long spectrum.
import sys
import numpy as np
from scipy import signal, integrate

x = np.fromfile(sys.argv[1], dtype="<f8")
rate, a, b = (float(v) for v in sys.argv[2:5])
x = x[int(a * rate):int(b * rate)]
if len(sys.argv) > 5:
    tone = float(sys.argv[5])
    w = signal.get_window("blackmanharris", len(x), fftbins=False)
    f, p = signal.periodogram(x, rate, window=w, detrend="constant", scaling="density")
    near = np.abs(f - tone) < max(30.0, 0.03 * tone)
    print(10 * np.log10(2 * p[near].sum() * rate / len(x)))
else:
    top = min(20000.0, rate / 2)
    f, p = signal.welch(x, rate, window="hann", nperseg=int(rate), detrend="constant")
    k = (f >= 20) & (f <= top)
    print(10 * np.log10(integrate.trapezoid(p[k], f[k])))
    s = np.abs(np.fft.rfft(x - x.mean())) ** 2
    g = np.fft.rfftfreq(len(x), 1 / rate)
    k = (g >= 20) & (g <= top)
    print(10 * np.log10(2 * s[k].sum() / len(x) ** 2))
