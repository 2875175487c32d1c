"""What a user would script for the same questions with general-purpose libraries.

    python3 scripted.py RECORDS.csv OUT.pdf [--clusters-only]

Reads with polars, finds places by density clustering of each machine's marks of each kind,
asks for each stream by 999 permutations over the panels whether some place is hit more often
than chance, fits a mixed model of removal with lots as random effects, draws a figure a stream and writes
them as one PDF. No causes, no confounding, no warnings: a yardstick of time, not of answers.
"""

import argparse

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import polars as pl
import statsmodels.formula.api as smf
from matplotlib.backends.backend_pdf import PdfPages
from sklearn.cluster import DBSCAN

PERMUTATIONS = 999
REACH_MM = 8.0


def in_machine(rows):
    turned = pl.col("lay_deg") == 180
    return rows.with_columns(
        mx=pl.when(turned).then(pl.col("length_mm") - pl.col("x_mm")).otherwise(pl.col("x_mm")),
        my=pl.when(turned).then(pl.col("width_mm") - pl.col("y_mm")).otherwise(pl.col("y_mm")),
    )


def fullest_cell(cells, panel, cell_count):
    """Most panels that any cell of a grid holds."""
    pairs = np.unique(cells.astype(np.int64) * (panel.max() + 1) + panel)
    return np.bincount(pairs // (panel.max() + 1), minlength=cell_count).max()


def permuted(stream, rng):
    """Chance of a cell as full as the fullest when marks are spread anew over the panels' area."""
    x, y, panel = stream["mx"].to_numpy(), stream["my"].to_numpy(), stream["panel"].to_numpy()
    columns = int(x.max() // REACH_MM) + 1
    count = columns * (int(y.max() // REACH_MM) + 1)
    grid = lambda x, y: (y // REACH_MM).astype(int) * columns + (x // REACH_MM).astype(int)
    seen = fullest_cell(grid(x, y), panel, count)
    as_full = 0
    for _ in range(PERMUTATIONS):
        shift_x, shift_y = rng.permutation(x), rng.permutation(y)
        as_full += fullest_cell(grid(shift_x, shift_y), panel, count) >= seen
    return (1 + as_full) / (1 + PERMUTATIONS)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("records")
    parser.add_argument("out")
    parser.add_argument("--clusters-only", action="store_true")
    given = parser.parse_args()
    rows = in_machine(pl.read_csv(given.records, infer_schema_length=10_000))
    rows = rows.with_columns(panel=pl.col("panel_id").rank("dense").cast(pl.Int64))
    marks = rows.filter(pl.col("defect").is_not_null() & (pl.col("defect") != ""))
    rng = np.random.default_rng(1)
    found = []
    for (machine, defect), stream in marks.group_by(["machine", "defect"], maintain_order=True):
        at = stream.select("mx", "my").to_numpy()
        labels = DBSCAN(eps=REACH_MM, min_samples=max(5, len(at) // 100)).fit_predict(at)
        found.append((machine, defect, stream, at, labels))
    if given.clusters_only:
        return
    with PdfPages(given.out) as pdf:
        for machine, defect, stream, at, labels in found:
            p = permuted(stream, rng)
            figure, axes = plt.subplots(figsize=(7, 4))
            axes.scatter(at[:, 0], at[:, 1], c=labels, s=4)
            axes.set_title(f"{machine}, {defect}: p = {p:.3f}, {labels.max() + 1} places")
            pdf.savefig(figure)
            plt.close(figure)
        removal = rows.filter(pl.col("removed_um") > 0).group_by("panel_id").agg(
            pl.col("removed_um").mean().log(), pl.col("feed_mm_s", "passes").first().log(), pl.col("lot").first()
        )
        fit = smf.mixedlm("removed_um ~ feed_mm_s + passes", pd.DataFrame(removal.to_dict(as_series=False)), groups=removal["lot"].to_numpy()).fit()
        figure = plt.figure(figsize=(7, 4))
        figure.text(0.05, 0.5, str(fit.summary()), family="monospace", size=7, va="center")
        pdf.savefig(figure)


if __name__ == "__main__":
    main()
