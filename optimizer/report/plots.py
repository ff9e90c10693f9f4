"""The twin of a figure that readers can turn, zoom and ask for numbers: a chart as plotly draws it.

Source of the format: plotly.js, JSON chart schema. Texts of users are escaped, for plotly reads a few marks
of HTML in them. Nothing is fetched, and no link leads out. Where a figure has no twin the text is empty.
"""

from __future__ import annotations

import json
import re

from optimizer.report.figures.model import BarChart, Distribution, Figure, LineChart, MeshView
from optimizer.report.plot_charts import bar_chart, distribution, line_chart
from optimizer.report.plot_mesh import mesh
from optimizer.report.plot_style import Chart

#: Buttons that do nothing for these charts.
_REMOVED = ("select2d", "lasso2d", "autoScale2d", "toggleSpikelines", "hoverClosest3d", "tableRotation")


def bundle() -> str:
    """The JavaScript of plotly, to be inlined once in a file."""
    from plotly.offline import get_plotlyjs

    text = str(get_plotlyjs()).replace("\r\n", "\n").replace("\r", "\n")
    # inside strings of JavaScript both mean the same; inside a script element they would end or open it
    return text.replace("</script", "<\\/script").replace("<!--", "<\\!--")


def plotly_json(figure: Figure) -> str:
    """data, layout and config of a figure as JSON that may stand in a script element; '' for no twin."""
    match figure:
        case LineChart():
            chart = line_chart(figure)
        case BarChart():
            chart = bar_chart(figure)
        case Distribution():
            chart = distribution(figure)
        case MeshView():
            chart = mesh(figure)
        case _:
            return ""
    chart["config"] = _config(figure.title)
    text = json.dumps(chart, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _config(title: str) -> Chart:
    """Own picture file, no logo, nothing that leads to a server."""
    name = "-".join(re.findall("[a-z0-9]+", title.lower()))
    return {
        "displaylogo": False,
        "displayModeBar": True,
        "responsive": True,
        "showSendToCloud": False,
        "plotlyServerURL": "",
        "topojsonURL": "",
        "modeBarButtonsToRemove": list(_REMOVED),
        "toImageButtonOptions": {"format": "png", "scale": 2, "filename": name[:60].strip("-") or "figure"},
    }
