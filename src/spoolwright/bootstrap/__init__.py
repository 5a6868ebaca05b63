"""The only place that joins files and formats to the crafts' use cases."""

from spoolwright.bootstrap.assessing import Assessed, assess, run_demo, write_reports
from spoolwright.bootstrap.calibrating import calibrate, read_baseline
from spoolwright.bootstrap.diagnosing import DiagnosisFiles, diagnose, write_diagnosis
from spoolwright.bootstrap.forecasting import forecast, forecast_basis, forecast_learn, write_forecast
from spoolwright.bootstrap.outputs import check_outputs
from spoolwright.bootstrap.sharing import SistersFound, sisters
from spoolwright.bootstrap.sheets import begin_sheet, read_sheet

__all__ = [
    "Assessed",
    "DiagnosisFiles",
    "SistersFound",
    "assess",
    "begin_sheet",
    "calibrate",
    "check_outputs",
    "diagnose",
    "forecast",
    "forecast_basis",
    "forecast_learn",
    "read_baseline",
    "read_sheet",
    "run_demo",
    "sisters",
    "write_diagnosis",
    "write_forecast",
    "write_reports",
]
