"""Published data of scatter in groups, with what their sources print of them; numbers only."""

from __future__ import annotations

STRD = "NIST Statistical Reference Datasets, analysis of variance"
HANDBOOK = "NIST/SEMATECH e-Handbook of Statistical Methods"
GUM = "JCGM 100:2008, H.5"
DAVIES = "Davies, Statistical Methods in Research and Production (1967); Box, Tiao, Bayesian Inference (1973)"

# Ten days of five readings each [V]: what the mean of a day lies above 10 V [uV], and its standard deviation [uV].
DAYS_UV = (172.0, 116.0, 13.0, 144.0, 106.0, 31.0, 60.0, 125.0, 163.0, 41.0)
DAYS_SD_UV = (60.0, 77.0, 111.0, 101.0, 67.0, 93.0, 80.0, 73.0, 88.0, 86.0)

# Yield of six batches of a dyestuff [g], five samples each.
DYESTUFF = (
    (1545.0, 1440.0, 1440.0, 1520.0, 1580.0), (1540.0, 1555.0, 1490.0, 1560.0, 1495.0),
    (1595.0, 1550.0, 1605.0, 1510.0, 1560.0), (1445.0, 1440.0, 1595.0, 1465.0, 1545.0),
    (1595.0, 1630.0, 1515.0, 1635.0, 1625.0), (1520.0, 1455.0, 1450.0, 1480.0, 1445.0),
)  # fmt: skip

# Made by Box and Tiao so that the mean square between batches is the smaller one; from memory.
MADE_BATCHES = (
    (7.298, 3.846, 2.434, 9.566, 7.990), (5.220, 6.556, 0.608, 11.788, -0.892), (0.110, 10.386, 13.434, 5.510, 8.166),
    (2.212, 4.852, 7.092, 9.288, 4.980), (0.282, 9.014, 4.458, 9.446, 7.198), (1.722, 4.782, 8.106, 0.758, 3.758),
)  # fmt: skip

# Resistivity of silicon by five instruments, SiRstv [ohm cm].
RESISTIVITY = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403), (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811), (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)  # fmt: skip

# Atomic weight of silver by two instruments, AtmWtAg: seven leading digits that all values share.
SILVER = (
    (107.8681568, 107.8681465, 107.8681572, 107.8681785, 107.8681446, 107.8681903, 107.8681526, 107.8681494,
     107.8681616, 107.8681587, 107.8681519, 107.8681486, 107.8681419, 107.8681569, 107.8681508, 107.8681672,
     107.8681385, 107.8681518, 107.8681662, 107.8681424, 107.8681360, 107.8681333, 107.8681610, 107.8681477),
    (107.8681079, 107.8681344, 107.8681513, 107.8681197, 107.8681604, 107.8681385, 107.8681642, 107.8681365,
     107.8681151, 107.8681082, 107.8681517, 107.8681448, 107.8681198, 107.8681482, 107.8681334, 107.8681609,
     107.8681101, 107.8681512, 107.8681469, 107.8681360, 107.8681254, 107.8681261, 107.8681450, 107.8681368),
)  # fmt: skip


def made_treatments(leading: float) -> tuple[tuple[float, ...], ...]:
    """SmLs01, 04 and 07: nine treatments of 21 values, behind leading digits 1, 1e6 or 1e12 that all share.

    The first value of a treatment is followed by ten pairs a tenth below it and above it.
    """
    firsts = (4, 3, 5, 3, 5, 3, 5, 3, 5)  # tenths
    return tuple(
        tuple(float(f"{leading:.0f}.{tenth}") for tenth in (first, *(10 * (first - 1, first + 1)))) for first in firsts
    )
