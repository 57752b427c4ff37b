"""History to a report: what every fixture took, what was told, what was done."""

from monitor.report.earlier import read_earlier
from monitor.report.gathering import material_from
from monitor.report.material import Material
from monitor.report.writing import write_report

__all__ = ["Material", "material_from", "read_earlier", "write_report"]
