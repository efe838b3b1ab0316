"""Tables of formulas, products and batches and their named constraints, by subject."""

from formulas.models.batches import Batch, BatchLine, BatchPackaging, Pick
from formulas.models.by_products import ByProduct
from formulas.models.checks import BatchCheck
from formulas.models.complaints import Complaint, ComplaintFact
from formulas.models.contents import Container, NetContents, UnitWeighing, WaterFilling
from formulas.models.emptyings import Emptying
from formulas.models.enough import Enough
from formulas.models.formulas import Formula, FormulaVersion, Line, Phase, Window
from formulas.models.joint_products import JointProduct
from formulas.models.made_for import MadeFor
from formulas.models.making import Filling, Making, SecondLook, Weighing
from formulas.models.measurements import Measurement
from formulas.models.products import Packaging, Product
from formulas.models.rework import Rework
from formulas.models.standards import StandardCost, StandardPrice
from formulas.models.topping_up import Alternate, Lack, LineChange, Picking, TopUp

__all__ = [
    "Alternate",
    "Batch",
    "BatchCheck",
    "BatchLine",
    "BatchPackaging",
    "ByProduct",
    "Complaint",
    "ComplaintFact",
    "Container",
    "Emptying",
    "Enough",
    "Filling",
    "Formula",
    "FormulaVersion",
    "JointProduct",
    "Lack",
    "Line",
    "LineChange",
    "MadeFor",
    "Making",
    "Measurement",
    "NetContents",
    "Packaging",
    "Phase",
    "Pick",
    "Picking",
    "Product",
    "Rework",
    "SecondLook",
    "StandardCost",
    "StandardPrice",
    "TopUp",
    "UnitWeighing",
    "WaterFilling",
    "Weighing",
    "Window",
]
