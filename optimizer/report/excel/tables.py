"""The sheets of every answer as plain data: ``results_tables``. No spreadsheet library is loaded."""

from __future__ import annotations

from optimizer.report.excel.check import check_tables
from optimizer.report.excel.compare import compare_tables
from optimizer.report.excel.design import design_tables
from optimizer.report.excel.geometry import geometry_tables
from optimizer.report.excel.predict import predict_tables
from optimizer.report.excel.table import Table
from optimizer.report.excel.tradeoff import tradeoff_tables
from optimizer.results import CheckResult, DesignResult, PredictResult
from optimizer.results_compare import CompareResult
from optimizer.results_geometry import GeometryResult
from optimizer.results_tradeoff import TradeoffResult

Result = PredictResult | DesignResult | CheckResult | CompareResult | TradeoffResult | GeometryResult


def results_tables(result: Result) -> dict[str, Table]:
    """Name of each sheet -> its table, in their order; sheets that would hold nothing are left out.

    The first, ``Answer``, has the verdict in words, the key numbers with their units, version and checksum.
    Raises TypeError for anything that is no answer of a command.
    """
    match result:
        case PredictResult():
            return predict_tables(result)
        case DesignResult():
            return design_tables(result)
        case CheckResult():
            return check_tables(result)
        case CompareResult():
            return compare_tables(result)
        case TradeoffResult():
            return tradeoff_tables(result)
        case GeometryResult():
            return geometry_tables(result)
    raise TypeError(f"no sheets are known for {type(result).__name__}")
