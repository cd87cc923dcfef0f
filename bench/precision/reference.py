"""Measures stars of known places with sep and photutils, for bench/precision.ts.

Reads lines {"file", "width", "height", "gain", "half", "xs", "ys"} (raw little-endian u16 pixels), answers
{"sep": {...}, "photutils": {...}} with one value per star, null where there is none.
"""
import json
import sys
import warnings

import numpy as np
import sep
from photutils.centroids import centroid_2dg

warnings.simplefilter("ignore")
MOST_FITS = 100


def nearest(found_x, found_y, xs, ys):
    """Index of the detection nearest to each star, -1 beyond 3 px."""
    out = np.full(len(xs), -1)
    for i, (x, y) in enumerate(zip(xs, ys)):
        d = np.hypot(found_x - x, found_y - y)
        if len(d) and d.min() < 3:
            out[i] = int(d.argmin())
    return out


def listed(values, index):
    return [float(values[i]) if i >= 0 and np.isfinite(values[i]) else None for i in index]


def measure(job):
    shape = (job["height"], job["width"])
    data = np.fromfile(job["file"], dtype="<u2").reshape(shape).astype(np.float32)
    sky = sep.Background(data)
    light = data - sky.back()
    noise = sky.globalrms
    objects = sep.extract(light, 1.5, err=noise, minarea=5)
    xs, ys = np.array(job["xs"]), np.array(job["ys"])
    index = nearest(objects["x"], objects["y"], xs, ys)
    radius, _ = sep.flux_radius(light, objects["x"], objects["y"], 6.0 * objects["a"], 0.5, subpix=5)
    win_x, win_y, _ = sep.winpos(light, objects["x"], objects["y"], 2 / 2.35482 * radius)
    total = objects["x2"] + objects["y2"]
    answer = {
        "x": listed(win_x, index),
        "y": listed(win_y, index),
        "hfd": listed(2 * radius, index),
        "e1": listed((objects["x2"] - objects["y2"]) / total, index),
    }
    half = job["half"]
    fit_x, fit_y = [None] * len(xs), [None] * len(ys)
    for i in range(min(MOST_FITS, len(xs))):
        x, y = int(round(xs[i])), int(round(ys[i]))
        stamp = light[y - half : y + half + 1, x - half : x + half + 1].astype(float)
        error = np.sqrt(noise**2 + np.clip(stamp, 0, None) / job["gain"])
        cx, cy = centroid_2dg(stamp, error=error)
        if np.hypot(x - half + cx - xs[i], y - half + cy - ys[i]) < 3:
            fit_x[i], fit_y[i] = float(x - half + cx), float(y - half + cy)
    return {"sep": answer, "photutils": {"x": fit_x, "y": fit_y}}


for line in sys.stdin:
    print(json.dumps(measure(json.loads(line))), flush=True)
