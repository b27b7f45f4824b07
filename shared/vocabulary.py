"""The words of the trade that every other module shares, each with a plain label for people."""

from enum import StrEnum
from typing import Self


class Labelled(StrEnum):
    """A string enum whose members also carry the words shown to a person."""

    label: str

    def __new__(cls, value: str, label: str = "") -> Self:
        """Store ``value`` as the member's text and ``label`` beside it."""
        member = str.__new__(cls, value)
        member._value_ = value
        member.label = label
        return member


class Material(Labelled):
    """What a piece, or a part of it, is made of; one row each in ``tables/materials.csv``."""

    OIL_CANVAS = "oil_canvas", "Oil on canvas"
    OIL_CANVAS_GLUE_LINED = "oil_canvas_glue_lined", "Oil on canvas, lined with hide glue"
    OIL_CANVAS_WAX_LINED = "oil_canvas_wax_lined", "Oil on canvas, wax-resin lining"
    ACRYLIC_CANVAS = "acrylic_canvas", "Acrylic painting"
    PANEL_PAINTING = "panel_painting", "Oil or tempera on wood panel"
    WATERCOLOUR = "watercolour", "Watercolour, gouache or soluble ink"
    PASTEL = "pastel", "Pastel, charcoal or chalk"
    PRINT_PAPER = "print_paper", "Print or drawing on paper, stable media"
    COATED_PAPER = "coated_paper", "Coated (glossy) paper"
    BOUND_VOLUME = "bound_volume", "Bound volume, cloth or paper cover"
    LEATHER_BINDING = "leather_binding", "Leather or vellum binding"
    PARCHMENT = "parchment", "Parchment or vellum sheet"
    LEATHER = "leather", "Leather object"
    WET_COLLODION = "wet_collodion", "Wet collodion: ambrotype, tintype, glass negative"
    DAGUERREOTYPE = "daguerreotype", "Daguerreotype or other cased photograph"
    ALBUMEN = "albumen", "Albumen print"
    COLLODION_PRINT = "collodion_print", "Collodion print"
    SILVER_GELATIN = "silver_gelatin", "Silver gelatin print"
    GLASS_PLATE = "glass_plate", "Dry plate, autochrome, lantern slide, carbon or Woodbury print"
    CHROMOGENIC = "chromogenic", "Chromogenic colour print or negative"
    DYE_TRANSFER = "dye_transfer", "Dye transfer print"
    CYANOTYPE = "cyanotype", "Cyanotype or photomechanical print"
    INKJET_DYE = "inkjet_dye", "Inkjet print, dye ink"
    INKJET_PIGMENT = "inkjet_pigment", "Inkjet print, pigment ink"
    FILM_NEGATIVE = "film_negative", "Film negative on a sound base"
    NITRATE_ACETATE = "nitrate_acetate", "Deteriorated nitrate or acetate film"
    MAGNETIC_MEDIA = "magnetic_media", "Magnetic tape or disk"
    TEXTILE = "textile", "Textile with stable dye"
    TEXTILE_BLEEDING = "textile_bleeding", "Textile with bleeding dye or metal thread"
    WOOD = "wood", "Solid wood furniture or object"
    VENEER = "veneer", "Veneer, marquetry or inlay"
    UPHOLSTERY = "upholstery", "Upholstered furniture"
    GILDED_GESSO = "gilded_gesso", "Gilded or gesso frame, polychrome wood"
    PLAIN_FRAME = "plain_frame", "Plain wood frame"
    LACQUER = "lacquer", "Lacquer"
    BONE_IVORY = "bone_ivory", "Bone, ivory, horn or antler"
    BASKETRY = "basketry", "Basketry, bark or plant fibre"
    FUR_FEATHER = "fur_feather", "Fur, feather or taxidermy"
    WAX = "wax", "Wax object or encaustic"
    IRON = "iron", "Iron or steel"
    COPPER_ALLOY = "copper_alloy", "Copper, brass or bronze"
    SILVER = "silver", "Silver"
    OTHER_METAL = "other_metal", "Other metal"
    CERAMIC_HIGH = "ceramic_high", "High-fired ceramic"
    CERAMIC_LOW = "ceramic_low", "Low-fired or unfired ceramic"
    PLASTER = "plaster", "Plaster"
    GLASS = "glass", "Glass"
    STONE = "stone", "Hard stone"
    MARBLE_ALABASTER = "marble_alabaster", "Marble, alabaster or onyx"
    CLOCK_ELECTRONICS = "clock_electronics", "Clock or electronic piece"
    DISC_PLASTIC = "disc_plastic", "Record disc or plastic"


class ObjectType(Labelled):
    """What kind of thing a piece is (the 'type of object' of the Object ID standard)."""

    PAINTING = "painting", "Painting"
    WORK_ON_PAPER = "work_on_paper", "Work on paper"
    PHOTOGRAPH = "photograph", "Photograph"
    FRAME = "frame", "Frame"
    BOOK = "book", "Book"
    DOCUMENT = "document", "Document"
    TEXTILE = "textile", "Textile"
    SCULPTURE = "sculpture", "Sculpture"
    FURNITURE = "furniture", "Furniture"
    DECORATIVE = "decorative", "Decorative object"
    RECORDING = "recording", "Film, tape or disc"
    CLOCK_OR_DEVICE = "clock_or_device", "Clock or device"
    OTHER = "other", "Something else"


class Peril(Labelled):
    """What befell the site."""

    FIRE = "fire", "Fire"
    SMOKE = "smoke", "Smoke only"
    BURST_PIPE = "burst_pipe", "Burst pipe or appliance leak"
    ROOF_LEAK = "roof_leak", "Roof or window leak"
    SEWAGE = "sewage", "Sewage backup"
    FLOOD = "flood", "Flood from river, sea or ground"
    STORM = "storm", "Wind storm or hurricane"
    MOULD = "mould", "Mould outbreak"
    OTHER = "other", "Other"


class WaterCategory(Labelled):
    """How contaminated the water is, in the three categories of ANSI/IICRC S500."""

    ONE = "1", "Category 1: from a sanitary source"
    TWO = "2", "Category 2: significantly contaminated"
    THREE = "3", "Category 3: grossly contaminated"


class Damage(Labelled):
    """What happened to a piece; one row each in ``tables/damages.csv``."""

    SOAKED = "soaked", "Soaked"
    DAMP = "damp", "Damp"
    HIGH_HUMIDITY = "high_humidity", "Kept in very humid air"
    SALT_WATER = "salt_water", "Wetted by salt water"
    MUD = "mud", "Mud or silt"
    MOULD_SUSPECTED = "mould_suspected", "Musty, mould suspected"
    MOULD_VISIBLE = "mould_visible", "Visible mould"
    SOOT_DRY = "soot_dry", "Dry soot: powdery"
    SOOT_WET = "soot_wet", "Wet soot: smeary, sticky"
    SOOT_PROTEIN = "soot_protein", "Protein film from a kitchen fire"
    SOOT_OIL = "soot_oil", "Fuel-oil soot from a furnace"
    EXTINGUISHER_POWDER = "extinguisher_powder", "Extinguisher powder"
    SMOKE_ODOUR = "smoke_odour", "Smell of smoke"
    HEAT = "heat", "Heat: blisters, softening, scorching"
    CHARRED = "charred", "Charred or burnt"
    FLAKING = "flaking", "Flaking or lifting surface"
    DYE_BLEED = "dye_bleed", "Colour running"
    STUCK_TO_GLAZING = "stuck_to_glazing", "Stuck to its glass"
    WARPED = "warped", "Warped, cockled or split by wetting"
    CORROSION = "corrosion", "Corrosion"
    BROKEN = "broken", "Broken, torn or punctured"
    BROKEN_GLAZING = "broken_glazing", "Broken glass over the piece"
    INSECTS = "insects", "Live insects"
    NONE_SEEN = "none_seen", "No damage seen"


class Extent(Labelled):
    """How much of the piece the damage reaches."""

    SLIGHT = "slight", "A corner or an edge"
    PARTIAL = "partial", "Up to half"
    WIDE = "wide", "More than half"


class Permission(Labelled):
    """Whether something may be done to a material."""

    YES = "yes", "Allowed"
    NO = "no", "Not allowed"
    CONSERVATOR = "conservator", "Only on a conservator's word"


class Hazard(Labelled):
    """What on a site or in a piece can hurt people; each shows its cautions."""

    BUILDING = "building", "Damaged building"
    STANDING_WATER = "standing_water", "Standing water"
    CATEGORY_THREE = "category_three", "Category 3 water"
    ELECTRICITY = "electricity", "Electricity"
    GENERATOR = "generator", "Generator on site"
    SOOT = "soot", "Soot and ash"
    MOULD = "mould", "Mould growth"
    ASBESTOS = "asbestos", "Asbestos suspected"
    LEAD_OR_ARSENIC = "lead_or_arsenic", "Lead or arsenic suspected"
    NITRATE_FILM = "nitrate_film", "Nitrate film"
    BROKEN_GLASS = "broken_glass", "Broken glass and sharps"
    HEAVY_LIFT = "heavy_lift", "Heavy or awkward lifting"
    LOW_OXYGEN = "low_oxygen", "Low oxygen or inert gas"
    FUMIGANT = "fumigant", "Fumigant or oxidising gas"


class Agent(Labelled):
    """What a treatment programme works with; one row each in ``tables/agents.csv``."""

    HEPA_VACUUM = "hepa_vacuum", "HEPA vacuum and dry cleaning"
    CARBON_AIR = "carbon_air", "Activated carbon and air changes"
    OZONE = "ozone", "Ozone"
    HYDROXYL = "hydroxyl", "Hydroxyl generator"
    HYDROGEN_PEROXIDE = "hydrogen_peroxide", "Hydrogen peroxide vapour"
    CHLORINE_DIOXIDE = "chlorine_dioxide", "Chlorine dioxide gas"
    ETHYLENE_OXIDE = "ethylene_oxide", "Ethylene oxide"
    THYMOL = "thymol", "Thymol vapour"
    SULFURYL_FLUORIDE = "sulfuryl_fluoride", "Sulfuryl fluoride"
    PHOSPHINE = "phosphine", "Phosphine"
    METHYL_BROMIDE = "methyl_bromide", "Methyl bromide"
    CARBON_DIOXIDE = "carbon_dioxide", "Carbon dioxide"
    ANOXIA = "anoxia", "Nitrogen or argon anoxia"
    FREEZING = "freezing", "Low temperature, dry, against insects"
    HEAT = "heat", "Controlled heat, against insects"
    GAMMA = "gamma", "Gamma irradiation"


class Target(Labelled):
    """What a treatment programme is meant to act on."""

    MOULD = "mould", "Mould and mildew"
    SMOKE_ODOUR = "smoke_odour", "Smell of smoke"
    INSECTS = "insects", "Insects"


class StepKind(Labelled):
    """The steps of a piece through the facility, in their lawful order."""

    STABILISE = "stabilise", "Stabilise"
    FREEZE = "freeze", "Hold frozen"
    DRY = "dry", "Dry"
    SOOT_REMOVAL = "soot_removal", "Dry soot removal"
    MOULD_REMOVAL = "mould_removal", "Mould removal"
    CHAMBER = "chamber", "Chamber run"
    AIR = "air", "Air"
    STUDIO = "studio", "Studio treatment"
    RETURN = "return", "Return"


class StudioTask(Labelled):
    """What is done at the bench in the studio step; one row each in ``tables/studio_tasks.csv``."""

    CONSOLIDATE = "consolidate", "Consolidate the surface"
    MEND = "mend", "Mend tears and breaks"
    LINE = "line", "Line the canvas"
    CONSOLIDATE_FRAME = "consolidate_frame", "Consolidate the frame"
    CLEAN = "clean", "Clean"
    FLATTEN = "flatten", "Flatten"
    CAST = "cast", "Cast missing ornament"
    FILL = "fill", "Fill losses"
    INPAINT = "inpaint", "Inpaint"
    GILD = "gild", "Gild"
    VARNISH = "varnish", "Varnish"
    MOUNT = "mount", "Mount"
    FIT = "fit", "Fit into the frame"


class SizeClass(Labelled):
    """How large a piece is at the bench, by its largest face; rows in ``studio_sizes.csv``."""

    SMALL = "small", "Small"
    MEDIUM = "medium", "Medium"
    LARGE = "large", "Large"
    VERY_LARGE = "very_large", "Very large"


class AreaResult(Labelled):
    """How a small test area came out."""

    GOOD = "good", "Good: go on this way"
    NOT_GOOD = "not_good", "Not good: stop"


class PlanEditKind(Labelled):
    """What a person may tell the planner about a piece or a run."""

    MOVE = "move", "Move to another place or time"
    HOLD = "hold", "Hold"
    PIN = "pin", "Keep as planned"
    SEPARATE = "separate", "Keep apart"


class Band(Labelled):
    """How soon a piece must move, in plain words."""

    NOW = "now", "Now"
    TODAY = "today", "Today"
    THIS_WEEK = "this_week", "This week"
    CAN_WAIT = "can_wait", "Can wait"


class Significance(Labelled):
    """How much the owner says a piece matters, beside its price."""

    ORDINARY = "ordinary", "Ordinary"
    TREASURED = "treasured", "Treasured by the owner"
    OUTSTANDING = "outstanding", "Outstanding or irreplaceable"


class ValueBasis(Labelled):
    """Where a stated value comes from."""

    AGREED = "agreed", "Agreed value"
    SCHEDULED = "scheduled", "Scheduled value"
    APPRAISED = "appraised", "Appraised value"
    DECLARED = "declared", "Declared by the owner"


class PhotoKind(Labelled):
    """When and why a photo was taken."""

    SITE = "site", "On site"
    INTAKE = "intake", "At intake"
    DETAIL = "detail", "Detail: mark or damage"
    DURING = "during", "During treatment"
    AFTER = "after", "After treatment"
    RETURN = "return", "At return"


class PartRole(Labelled):
    """What a separately tagged part is to its parent."""

    FRAME = "frame", "Frame"
    GLAZING = "glazing", "Glazing"
    BACKING = "backing", "Backing or stretcher"
    FRAGMENTS = "fragments", "Loose fragments, bagged"
    BASE = "base", "Base or stand"
    OTHER = "other", "Other part"


class Phase(Labelled):
    """Where a chamber run stands."""

    PLANNED = "planned", "Planned"
    LOADING = "loading", "Loading"
    SEALED = "sealed", "Sealed"
    DOSING = "dosing", "Dosing"
    HOLDING = "holding", "Holding"
    AIRING = "airing", "Airing"
    CLEARED = "cleared", "Opened after clearance"
    UNLOADED = "unloaded", "Unloaded"
    ABORTED = "aborted", "Aborted"


class Decision(Labelled):
    """What the adjuster decides on a piece."""

    AUTHORISE = "authorise", "Treatment authorised"
    SETTLE = "settle", "Settle as a loss"
    HOLD = "hold", "Hold"
    QUESTION = "question", "Question asked"


class Role(Labelled):
    """Who acts."""

    CREW = "crew", "Field crew"
    LEAD = "lead", "Facility lead"
    FUMIGATOR = "fumigator", "Licensed fumigator"
    ADJUSTER = "adjuster", "Adjuster"
    OFFICE = "office", "Office"
    CONSERVATOR = "conservator", "Conservator"
    SENSOR = "sensor", "Sensor"


class MoistureScale(Labelled):
    """What the figure of a moisture meter means."""

    DRY_MASS = "dry_mass", "Per cent of the dry mass"
    WOOD_EQUIVALENT = "wood_equivalent", "Per cent wood equivalent (WME)"
    RELATIVE = "relative", "The meter's own scale"


class Measure(Labelled):
    """What a sensor measures."""

    TEMPERATURE = "temperature", "Temperature"
    HUMIDITY = "humidity", "Relative humidity"
    GAS = "gas", "Gas"
    OXYGEN = "oxygen", "Oxygen"
