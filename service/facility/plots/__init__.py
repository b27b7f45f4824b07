"""Plots of one piece and one run: drying, mould, gas. Each comes with its figures as a table.

What a plot supposes stands in its caption. None of them clears a chamber or calls a piece dry.
"""

from service.facility.plots.chart import Plot
from service.facility.plots.climate import Excursion, climate_plot, excursions
from service.facility.plots.drying import drying_plot
from service.facility.plots.gas import GasPlot, gas_plot
from service.facility.plots.mould import mould_plot

__all__ = [
    "Excursion",
    "GasPlot",
    "Plot",
    "climate_plot",
    "drying_plot",
    "excursions",
    "gas_plot",
    "mould_plot",
]
