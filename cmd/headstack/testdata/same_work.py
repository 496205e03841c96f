"""The work of `headstack measure`, done with SciPy: the yardstick of a benchmark.

usage: same_work.py FILE.wav SECTIONS.json

Written as a person who knows SciPy would: one read, each filter as second-order
sections, Hilbert transform for envelope and frequency, Welch for spectra. It is
given the places of the sections, which headstack has to find. It gives no intervals.
Prints one line of JSON.
"""
import json
import sys

import numpy as np
from scipy import signal
from scipy.io import wavfile

FLUTTER_ZEROS = [0, 0, 0, 40.188]
FLUTTER_POLES = [1.5126, (0.44033, 0.66135), 9.0909, 54.278]


def band(x, rate, lo, hi, order=4):
    return signal.sosfiltfilt(signal.butter(order, [lo, hi], "bandpass", fs=rate, output="sos"), x)


def flutter_sos(rate):
    w = lambda f: 2 * np.pi * f
    zeros = [0, 0, 0, -w(40.188)]
    f2, q2 = FLUTTER_POLES[1]
    pair = np.roots([1, w(f2) / q2, w(f2) ** 2])
    poles = [-w(1.5126), *pair, -w(9.0909), -w(54.278)]
    z, p, k = signal.bilinear_zpk(zeros, poles, 1.0, rate)
    sos = signal.zpk2sos(z, p, k)
    gain = abs(signal.sosfreqz(sos, [4.0], fs=rate)[1][0])
    sos[0, :3] /= gain
    return sos


def weighting_468_sos(rate):
    poles = np.array([-25903.701048, -23615.535214 - 36379.908937j, -23615.535214 + 36379.908937j,
                      -62675.170058, -18743.746691 - 62460.156453j, -18743.746691 + 62460.156453j])
    z, p, k = signal.bilinear_zpk([0], poles, 2.103452004e24, rate)
    return signal.zpk2sos(z, p, k)


def weighting_a(f):
    f = np.maximum(f, 1e-9)
    return (12194 ** 2 * f ** 4) / ((f ** 2 + 20.6 ** 2) * np.sqrt((f ** 2 + 107.7 ** 2) * (f ** 2 + 737.9 ** 2)) * (f ** 2 + 12194 ** 2)) * 10 ** (2 / 20)


def tone(x, rate, hz):
    """level, speed, envelope course, phase of one tone."""
    width = 0.02 * hz + 60
    y = band(x, rate, max(hz - width, 0.5 * hz), min(hz + width, 0.45 * rate))
    a = signal.hilbert(y)
    env = np.abs(a)
    phase = np.unwrap(np.angle(a))
    t = np.arange(len(x)) / rate
    slope = np.polyfit(t, phase, 1)[0]
    block = int(0.008 * rate)
    course = env[: len(env) // block * block].reshape(-1, block).mean(axis=1)
    return {
        "level": 20 * np.log10(np.sqrt(np.mean(env ** 2))),
        "speed": slope / (2 * np.pi * hz) - 1,
        "flicker": np.std(20 * np.log10(course + 1e-12)),
        "dropouts": int(np.sum(np.diff((course < 0.5 * np.median(course)).astype(int)) == 1)),
        "phase": phase,
    }


def distortion(x, rate, hz, level):
    out = []
    for k in (2, 3, 4, 5):
        if k * hz > 0.45 * rate:
            break
        y = band(x, rate, k * hz * 0.97, k * hz * 1.03)
        out.append(np.sqrt(2 * np.mean(y ** 2)))
    return float(np.sqrt(np.sum(np.square(out))) / 10 ** (level / 20))


def flutter(x, rate, hz):
    y = band(x, rate, hz - 400, hz + 400)
    f = np.diff(np.unwrap(np.angle(signal.hilbert(y)))) * rate / (2 * np.pi)
    step = int(rate // 2000)
    d = signal.decimate(f, step, ftype="fir") / hz - 1
    low = rate / step
    w = signal.sosfilt(flutter_sos(low), d - d.mean())[int(4 * low):]
    freqs, pxx = signal.welch(d, low, nperseg=min(len(d), int(8 * low)))
    return {"2sigma": float(np.quantile(np.abs(w), 0.95)), "rms": float(np.std(w)), "peak_at": float(freqs[np.argmax(pxx[1:]) + 1])}


def quasi_peak(x, rate):
    """Two rectifying stages by recursion: there is no such filter in SciPy."""
    up1, down1, up2, down2 = (1 - np.exp(-1 / (rate * t)) for t in (0.0017, 0.35, 0.0022, 0.45))
    a = b = 0.0
    for v in np.abs(x[:: max(1, int(rate // 48000))]).tolist():
        a += (up1 if v > a else down1) * (v - a)
        b += (up2 if a > b else down2) * (a - b)
    return b


def silence(x, rate):
    f, p = signal.welch(x, rate, nperseg=32768)
    df = f[1] - f[0]
    inband = (f >= 20) & (f <= 20000)
    peaks = [p[np.argmin(abs(f - k * 50))] * df for k in range(1, 11)]
    return {
        "noise": float(10 * np.log10(2 * np.sum(p[inband]) * df)),
        "noise_a": float(10 * np.log10(2 * np.sum((p * weighting_a(f) ** 2)[inband]) * df)),
        "noise_468": float(20 * np.log10(quasi_peak(signal.sosfilt(weighting_468_sos(rate), x), rate) + 1e-30)),
        "hum": float(10 * np.log10(2 * np.sum(peaks))),
    }


def main():
    rate, data = wavfile.read(sys.argv[1])
    full = float(2 ** 31) if data.dtype == np.int32 else float(2 ** 15)
    with open(sys.argv[2]) as fh:
        sections = json.load(fh)
    result = []
    for s in sections:
        a, b = int((s["start_s"] + 0.3) * rate), int((s["end_s"] - 0.3) * rate)
        phases = []
        for c in range(data.shape[1]):
            x = data[a:b, c] / full
            if s["tone_hz"] == 0:
                result.append(silence(x, rate))
                continue
            r = tone(x, rate, s["tone_hz"])
            phases.append(r.pop("phase"))
            if s["tone_hz"] <= 1200:
                r["thd"] = distortion(x, rate, s["tone_hz"], r["level"])
            if 2900 < s["tone_hz"] < 3300:
                r.update(flutter(x, rate, s["tone_hz"]))
            result.append(r)
        for i in range(len(phases)):
            for k in range(i + 1, len(phases)):
                result.append({"delay": float(np.mean(phases[i] - phases[k]) / (2 * np.pi * s["tone_hz"]))})
    print(json.dumps({"figures": len(result), "first": result[0]}))


if __name__ == "__main__":
    main()
