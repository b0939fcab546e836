"""Published data that the studies are tested against, each with its source.

Figures were seen in public transcriptions of the books, several of which agree, and were computed anew with numpy.
"""

import numpy as np

from station.quality.readings import CrossedReadings

AIAG_GRR = {
    "A": (
        (0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36),
        (0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25),
        (0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31),
    ),
    "B": (
        (0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68),
        (0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62),
        (0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50),
    ),
    "C": (
        (0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49),
        (-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77),
        (-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16),
    ),
}
"""AIAG Measurement Systems Analysis, 4th edition (2010), chapter III-B: data sheet of the study of repeatability and
reproducibility. By appraiser and trial; 10 parts."""

AIAG_BIAS = (5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1, 6.2, 5.6, 6.0)
"""AIAG MSA, 4th edition, Table III-B 1: bias study, reference value 6.0."""

AIAG_LINEARITY = {
    2.0: (2.70, 2.50, 2.40, 2.50, 2.70, 2.30, 2.50, 2.50, 2.40, 2.40, 2.60, 2.40),
    4.0: (5.10, 3.90, 4.20, 5.00, 3.80, 3.90, 3.90, 3.90, 3.90, 4.00, 4.10, 3.80),
    6.0: (5.80, 5.70, 5.90, 5.90, 6.00, 6.10, 6.00, 6.10, 6.40, 6.30, 6.00, 6.10),
    8.0: (7.60, 7.70, 7.80, 7.70, 7.80, 7.80, 7.80, 7.70, 7.80, 7.50, 7.60, 7.70),
    10.0: (9.10, 9.30, 9.50, 9.30, 9.40, 9.50, 9.50, 9.50, 9.60, 9.20, 9.30, 9.40),
}
"""AIAG MSA, 4th edition, Table III-B 4: readings by reference value. The same data as ISO 22514-7:2012, Table 7."""

VDA_TYPE1 = (
    6.001,
    6.002,
    6.001,
    6.001,
    6.002,
    6.001,
    6.001,
    6.000,
    5.999,
    6.001,
    6.001,
    6.000,
    6.001,
    6.002,
    6.002,
    6.002,
    6.002,
    6.002,
    6.002,
    6.000,
    6.002,
    6.000,
    5.999,
    6.002,
    6.002,
    6.001,
    6.001,
    6.000,
    5.999,
    5.999,
    6.000,
    6.001,
    6.001,
    6.002,
    6.001,
    6.001,
    6.000,
    6.000,
    5.999,
    5.999,
    6.000,
    6.001,
    6.002,
    6.001,
    6.002,
    6.002,
    6.001,
    6.002,
    6.001,
    6.001,
)
"""VDA volume 5, 2nd edition (2011), 5.2.2.1, Table 8: 50 readings of a standard of 6.002 mm, tolerance 0.06 mm."""

AIAG_ATTRIBUTE = (
    "1 111 111 111",
    "1 111 111 111",
    "0 000 000 000",
    "0 000 000 000",
    "0 000 000 000",
    "1 110 110 100",
    "1 111 111 101",
    "1 111 111 111",
    "0 000 000 000",
    "1 111 111 111",
    "1 111 111 111",
    "0 000 000 010",
    "1 111 111 111",
    "1 110 111 100",
    "1 111 111 111",
    "1 111 111 111",
    "1 111 111 111",
    "1 111 111 111",
    "1 111 111 111",
    "1 111 111 111",
    "1 110 101 010",
    "0 001 010 110",
    "1 111 111 111",
    "1 111 111 111",
    "0 000 000 000",
    "0 010 000 001",
    "1 111 111 111",
    "1 111 111 111",
    "1 111 111 111",
    "0 000 001 000",
    "1 111 111 111",
    "1 111 111 111",
    "1 111 111 111",
    "0 001 001 011",
    "1 111 111 111",
    "1 110 111 101",
    "0 000 000 000",
    "1 111 111 111",
    "0 000 000 000",
    "1 111 111 111",
    "1 111 111 111",
    "0 000 000 000",
    "1 101 111 110",
    "1 111 111 111",
    "0 000 000 000",
    "1 111 111 111",
    "1 111 111 111",
    "0 000 000 000",
    "1 111 111 111",
    "0 000 000 000",
)
"""AIAG MSA, 4th edition, Table III-C 1: a part a line: reference, then three trials of A, B and C; 1 is acceptable."""

FLOW_RATES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
"""NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2."""

PEAK_FLOW_LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
PEAK_FLOW_MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
"""Bland and Altman 1986, Lancet 327, 307-310, Table 1, first readings of each meter, in l/min. From memory; they give
the printed mean difference and standard deviation."""


def aiag_readings() -> CrossedReadings:
    """The AIAG study: 10 parts, 3 appraisers, 3 trials."""
    values = np.array([AIAG_GRR[name] for name in AIAG_GRR]).transpose(2, 0, 1)
    return CrossedReadings(tuple(str(part) for part in range(1, 11)), tuple(AIAG_GRR), values)


def aiag_csv() -> str:
    """The AIAG study as a file."""
    lines = ["part,appraiser,trial,value"]
    for name, trials in AIAG_GRR.items():
        for trial, values in enumerate(trials, 1):
            lines += [f"{part},{name},{trial},{value}" for part, value in enumerate(values, 1)]
    return "\n".join(lines) + "\n"


def attribute_arrays() -> tuple[np.ndarray, np.ndarray]:
    """AIAG's attribute study: decisions (50, 3, 3) and references (50,)."""
    rows = [line.split() for line in AIAG_ATTRIBUTE]
    decisions = np.array([[[digit == "1" for digit in trials] for trials in row[1:]] for row in rows])
    return decisions, np.array([row[0] == "1" for row in rows])
