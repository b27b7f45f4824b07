// What a crew most often meets: which materials to offer first for a type of object, and which
// damages belong together on the screen. Common practice, no source; nothing is decided by it.
import type { Damage, Material, ObjectType } from "../contract.ts";

export const LIKELY_MATERIALS: Readonly<Record<ObjectType, readonly Material[]>> = {
  painting: ["oil_canvas", "acrylic_canvas", "panel_painting", "gilded_gesso", "plain_frame"],
  work_on_paper: ["watercolour", "print_paper", "pastel", "inkjet_pigment", "plain_frame", "glass"],
  photograph: ["silver_gelatin", "chromogenic", "inkjet_dye", "albumen", "glass_plate", "glass"],
  frame: ["gilded_gesso", "plain_frame", "glass"],
  book: ["bound_volume", "leather_binding", "coated_paper"],
  document: ["print_paper", "parchment", "coated_paper", "watercolour"],
  textile: ["textile", "textile_bleeding", "leather", "fur_feather"],
  sculpture: ["copper_alloy", "marble_alabaster", "stone", "plaster", "wood", "ceramic_low"],
  furniture: ["wood", "veneer", "upholstery", "lacquer", "gilded_gesso"],
  decorative: ["ceramic_high", "ceramic_low", "glass", "silver", "copper_alloy", "lacquer"],
  recording: ["magnetic_media", "film_negative", "nitrate_acetate", "disc_plastic"],
  clock_or_device: ["clock_electronics", "wood", "copper_alloy", "veneer"],
  other: ["wood", "textile", "ceramic_high", "other_metal", "basketry"],
};

export type DamageGroup = "fire" | "water" | "mould" | "surface" | "none";

export const DAMAGE_GROUP: Readonly<Record<Damage, DamageGroup>> = {
  soot_dry: "fire",
  soot_wet: "fire",
  soot_protein: "fire",
  soot_oil: "fire",
  extinguisher_powder: "fire",
  smoke_odour: "fire",
  heat: "fire",
  charred: "fire",
  soaked: "water",
  damp: "water",
  high_humidity: "water",
  salt_water: "water",
  mud: "water",
  mould_suspected: "mould",
  mould_visible: "mould",
  flaking: "surface",
  dye_bleed: "surface",
  stuck_to_glazing: "surface",
  warped: "surface",
  corrosion: "surface",
  broken: "surface",
  broken_glazing: "surface",
  insects: "surface",
  none_seen: "none",
};
