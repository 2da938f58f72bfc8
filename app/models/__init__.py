"""One file per noun. `XIn` is checked form data, `X` is a table."""

from app.models.altimeter import AltimeterFile, AltimeterTrack
from app.models.bag import GrainBag, ReWeigh
from app.models.batch import Batch, BatchItem, BatchPart, Leftover, WeighOut
from app.models.book import CarriedFile, Draft, OnceToken
from app.models.buying import Consumable, Delivery, PackSize
from app.models.cast import CastSession, CastStep, Melt, SessionNote, SessionOpening, TemperatureReading
from app.models.checklist import Checklist, ChecklistAnswer, ChecklistEdition, ChecklistItem
from app.models.curve import Curve, CurveFile
from app.models.device import PairedDevice
from app.models.disposal import Disposal, DisposalItem
from app.models.distance import OwnDistance
from app.models.firing import Firing
from app.models.firing_log import FiringFinding, FiringPicture, FiringReference, SuspectGrain
from app.models.formula import BlendStateCache, Formula, FormulaPart
from app.models.grain import Grain, GrainMeasure, StruckWeighing
from app.models.grain_look import GrainLook, GrainPicture
from app.models.hardware import Case, CastingTube, CoringRod, GrainPattern, Nozzle, NozzleMeasure
from app.models.history import ActInHand, Change, ChangeLink, Person, RowDigest
from app.models.incident import Incident
from app.models.instrument import ScaleCheck, ThermometerCheck
from app.models.learning import FiringFit, FiringLeftOut, FiringLetIn, LearningPause
from app.models.motor import BuildGrain, MotorBuild, Prediction
from app.models.place import DragPoint, LaunchField, Rocket
from app.models.runsheet import RunSheet, RunSheetLine
from app.models.season import Season, SeasonDay, Wish, WishMotor
from app.models.season_choice import ChoiceGrain, Drill, MotorChoice
from app.models.season_plan import KeptAnswer, SeasonBatch, SeasonPlan
from app.models.stand import StandReading
from app.models.supply import Supply, SupplyCorrection
from app.models.test_piece import TestPiece
from app.models.workshop import Workshop

__all__ = [
    "ActInHand",
    "AltimeterFile",
    "AltimeterTrack",
    "Batch",
    "BatchItem",
    "BatchPart",
    "BlendStateCache",
    "BuildGrain",
    "CarriedFile",
    "Case",
    "CastSession",
    "CastStep",
    "CastingTube",
    "Change",
    "ChangeLink",
    "Checklist",
    "ChecklistAnswer",
    "ChecklistEdition",
    "ChecklistItem",
    "ChoiceGrain",
    "Consumable",
    "CoringRod",
    "Curve",
    "CurveFile",
    "Delivery",
    "Disposal",
    "DisposalItem",
    "Draft",
    "DragPoint",
    "Drill",
    "Firing",
    "FiringFinding",
    "FiringFit",
    "FiringLeftOut",
    "FiringLetIn",
    "FiringPicture",
    "FiringReference",
    "Formula",
    "FormulaPart",
    "Grain",
    "GrainBag",
    "GrainLook",
    "GrainMeasure",
    "GrainPattern",
    "GrainPicture",
    "Incident",
    "KeptAnswer",
    "LaunchField",
    "LearningPause",
    "Leftover",
    "Melt",
    "MotorBuild",
    "MotorChoice",
    "Nozzle",
    "NozzleMeasure",
    "OnceToken",
    "OwnDistance",
    "PackSize",
    "PairedDevice",
    "Person",
    "Prediction",
    "ReWeigh",
    "Rocket",
    "RowDigest",
    "RunSheet",
    "RunSheetLine",
    "ScaleCheck",
    "Season",
    "SeasonBatch",
    "SeasonDay",
    "SeasonPlan",
    "SessionNote",
    "SessionOpening",
    "StandReading",
    "StruckWeighing",
    "Supply",
    "SupplyCorrection",
    "SuspectGrain",
    "TemperatureReading",
    "TestPiece",
    "ThermometerCheck",
    "WeighOut",
    "Wish",
    "WishMotor",
    "Workshop",
]
