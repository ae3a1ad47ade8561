"""Times sep's background and extraction on a FITS frame: python3 sep_extract.py FRAME RUNS. Prints JSON, times in ms.

Plain use: float32 image, default mesh, background subtracted, 5 sigma of the global noise, default 3 x 3 filter.
Reading and conversion are not timed. The frame must be a 16-bit image with BZERO = 32768 in the primary HDU.
"""
import json
import sys
import time

import numpy as np
import sep

path, runs = sys.argv[1], int(sys.argv[2])
raw = open(path, "rb").read()
cards = {}
end = 0
while True:
    card = raw[end : end + 80].decode("ascii")
    end += 80
    if card.startswith("END"):
        break
    if card[8:10] == "= ":
        cards[card[:8].strip()] = card[10:].split("/")[0].strip()
start = -(-end // 2880) * 2880
width, height = int(cards["NAXIS1"]), int(cards["NAXIS2"])
assert int(cards["BITPIX"]) == 16 and float(cards["BZERO"]) == 32768
image = np.frombuffer(raw, ">i2", width * height, start).reshape(height, width)
full = np.ascontiguousarray(image.astype(np.float32) + 32768)
binned = np.ascontiguousarray(
    full[: height // 2 * 2, : width // 2 * 2].reshape(height // 2, 2, width // 2, 2).mean(axis=(1, 3), dtype=np.float32)
)
sep.set_extract_pixstack(2_000_000)


def timed(data):
    times = []
    for _ in range(runs + 1):
        begin = time.perf_counter()
        background = sep.Background(data)
        objects = sep.extract(data - background, 5.0, err=background.globalrms)
        times.append(1000 * (time.perf_counter() - begin))
    # The first run is the warm-up.
    return {"times": times[1:], "sources": int(len(objects))}


print(json.dumps({"version": sep.__version__, "full": timed(full), "binned": timed(binned)}))
