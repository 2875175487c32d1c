"""Records of a made-up plant, as large as asked for, with a place of known truth.

    python3 records.py PANELS OUT.csv [--lay flat|spot|rounded|same|lot] [--folder]

Three machines, five kinds of defect, some five marks and ten readings a panel. One panel in
twenty of machine M1 has a scratch at one place of the machine. `--lay` heaps the marks:
`spot` puts half of them round one place, `rounded` writes them in steps of 10 mm, `same`
writes one mark again and again, `lot` has half of the panels in one lot. `--folder` writes
one file a panel into the folder OUT.
"""

import argparse
import datetime
import pathlib

import numpy as np

KINDS = ["orange peel", "sand-through", "scratch", "dust nib", "dent"]
SIZES = [(600, 400), (800, 500), (450, 300)]
HEADER = (
    "panel_id,sanded_at,machine,part,lot,length_mm,width_mm,lay_deg,feed_mm_s,passes,force_n,"
    "grit,abrasive_age,inspector,x_mm,y_mm,defect,removed_um"
)


def panels(count, lay, rng):
    """Yields the rows of one panel after the other, as text."""
    start = datetime.datetime(2025, 1, 6, 6)
    for i in range(count):
        moment = start + datetime.timedelta(seconds=int(i * 31_000_000 / max(count, 2400)))
        machine = i % 3
        length, width = SIZES[i // 200 % 3]
        turned = int(rng.integers(0, 4) == 0) * 180
        lot = 0 if lay == "lot" and i % 2 else 1 + i // 150
        feed = [100, 120, 140][i // 50 % 3]
        head = (
            f"P{i:07},{moment.isoformat()}Z,M{machine + 1},A{i // 200 % 3},L{lot},{length},{width},{turned},"
            f"{feed},{2 + i // 400 % 2},30,P320,{i % 60},I{i // 40 % 2}"
        )
        rows = []
        for kind, rate in enumerate([1.6, 0.6, 1.2, 1.0, 0.6]):
            for _ in range(rng.poisson(rate)):
                x, y = rng.uniform(0, length), rng.uniform(0, width)
                if lay == "spot" and rng.random() < 0.5:
                    x, y = 200 + 4 * rng.normal(), 150 + 4 * rng.normal()
                if lay == "same":
                    x, y = 200.0, 150.0
                if lay == "rounded":
                    x, y = round(x, -1), round(y, -1)
                rows.append((x, y, KINDS[kind], ""))
        if machine == 0 and rng.random() < 0.05:
            x, y = 412 + 3 * rng.normal(), 88 + 3 * rng.normal()
            if turned:
                x, y = length - x, width - y
            if 0 <= x <= length and 0 <= y <= width:
                rows.append((x, y, "scratch", ""))
        level = 20 * (120 / feed) * np.exp(0.05 * rng.normal())
        for j in range(10):
            x, y = length * (j % 5 + 0.5) / 5, width * (j // 5 + 0.5) / 2
            rows.append((x, y, "", f"{level + rng.normal():.2f}"))
        yield "".join(f"{head},{x:.1f},{y:.1f},{d},{r}\n" for x, y, d, r in rows)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("panels", type=int)
    parser.add_argument("out", type=pathlib.Path)
    parser.add_argument("--lay", default="flat")
    parser.add_argument("--folder", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    made = panels(given.panels, given.lay, np.random.default_rng(given.seed))
    if given.folder:
        given.out.mkdir(parents=True, exist_ok=True)
        for i, text in enumerate(made):
            (given.out / f"P{i:07}.csv").write_text(HEADER + "\n" + text)
    else:
        with given.out.open("w") as file:
            file.write(HEADER + "\n")
            file.writelines(made)


if __name__ == "__main__":
    main()
