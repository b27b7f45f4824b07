// Every English sentence of the crew's app, in one place for translation.

function many(count: number, one: string, more: string): string {
  return `${count} ${count === 1 ? one : more}`;
}

export const strings = {
  // Moving about.
  back: "Back",
  next: "Next",
  cancel: "Cancel",
  save: "Save",
  tryAgain: "Try again",
  stepOf: (step: number, steps: number) => `Step ${step} of ${steps}`,

  // Choosing the loss.
  chooseLoss: "Which loss are you at?",
  noLosses: "No loss is open. The office opens one when the call comes in.",
  loadingLosses: "Looking for open losses…",
  authorised: "Authorised",
  notAuthorised: "No authorisation yet",
  needsSecure:
    "This address is not secure, so the browser refuses the camera and the digests that protect the record. Open the https address that the office shows.",

  // Before entry.
  beforeEntry: "Before you go in",
  entryDecided:
    "Whoever controls the site decides on entry. Lagan only repeats usual cautions and never says that a place is safe.",
  authorisedBy: (names: string) => `Authorisation on file, given by ${names}.`,
  notAuthorisedLong:
    "No authorisation is on file. Record what you see, and take nothing away until the office has one.",
  hazardsHere: "Hazards noted here",
  noHazards: "No hazard has been noted yet. That does not mean there is none.",
  readThese: "Read these before you go in",
  yourName: "Your name",
  nameHint: "It stands beside everything you record.",
  nameMissing: "Give your name: the record says who saw what.",
  iHaveRead: "I have read them",
  goOn: "Go on",
  alreadyRead: (name: string) => `${name} has read these cautions for this loss.`,
  acknowledgeFailed: "That could not be saved on this phone",

  // The loss's own page.
  tagPiece: "Tag a piece",
  carryOn: (tag: string) => `Carry on with ${tag}`,
  piecesOnPhone: (count: number) => `${many(count, "piece", "pieces")} tagged on this phone`,
  noPieces: "Nothing tagged on this phone yet. Tie a blank tag to the first piece, then scan it.",
  notYetSentShort: (count: number) => (count === 0 ? "All sent" : `${count} not yet sent`),
  pieceNotSent: "Not yet sent",
  pieceRefused: "Refused",
  partOf: (tag: string) => `Part of ${tag}`,
  setOf: (count: number) => `Set of ${count}`,
  cautionsAgain: "Read the cautions again",
  changeLoss: "Another loss",

  // The tag.
  stepTag: "Tag",
  tagHeading: "Scan the tag",
  tagLead: "Tie the tag on, or stick it to the outer wrap. Never stick anything to the object.",
  typeCode: "Type the code",
  useCamera: "Use the camera",
  torchOn: "Torch on",
  torchOff: "Torch off",
  pointAtTag: "Hold the tag inside the frame",
  codeLabel: "Code on the tag",
  codeHint: "13 letters and digits. O counts as 0; I and L count as 1.",
  useCode: "Use this code",
  cameraRefused: "The camera did not start. Allow it in the browser's settings, or type the code.",
  fault: {
    other_address: "That code holds a web address, not one of our tags. Scan the tag.",
    check:
      "The check character does not fit: one character is wrong or two are swapped. Compare each with the tag.",
    character: (place: number, character: string) =>
      character === "U"
        ? `Character ${place} is a U, which tags never use. Is it a V?`
        : `Character ${place}, “${character}”, is never used in a tag.`,
    length: (length: number, expected: number) =>
      length < expected
        ? `${many(expected - length, "character is", "characters are")} missing: a tag has ${expected}.`
        : `${many(length - expected, "character", "characters")} too many: a tag has ${expected}.`,
  },
  tagTaken: "This tag is on another piece already",
  tagTakenText: (what: string) =>
    `It is recorded as: ${what}. A tag goes on one piece only. Take a new tag, or open that piece.`,
  openPiece: "Open that piece",
  otherTag: "Use another tag",
  partHeading: (tag: string) => `A part of ${tag}`,
  partRole: "Which part is it?",
  scanPart: (role: string) => `Scan the tag of: ${role}`,

  // Photos.
  stepPhotos: "Photos",
  photosHeading: "Photograph the piece",
  photosLead: "The whole front first, then the damage, then any label or mark.",
  takePhoto: "Take a photo",
  takeAnother: "Take another photo",
  useViewfinder: "Use the viewfinder instead",
  shoot: "Take the photo",
  noPhoto: "No photo is possible here",
  photoBusy: "Saving the photo…",
  notAPhoto: "That file is not a photo this phone can read. Take it again.",
  removePhoto: (place: number) => `Remove photo ${place}`,
  photoAlt: (place: number) => `Photo ${place}`,

  // What it is.
  stepObject: "Object",
  objectHeading: "What is it?",
  stepMaterials: "Made of",
  materialsHeading: "What is it made of?",
  materialsLead: "Every material counts: the most delicate one sets the time.",
  likely: "Likely",
  allMaterials: "All materials",
  search: "Search materials",
  found: (count: number) =>
    count === 0 ? "No material has that in its name" : many(count, "match", "matches"),
  chooseMaterial: "Choose at least one material.",
  howMany: "How many under this one tag?",
  howManyHint: "More than one only for a set that stays together, such as 12 spoons.",
  fewer: "One fewer",
  more: "One more",

  // What happened.
  stepDamage: "Damage",
  damageHeading: "What happened to it?",
  damageLead: "Choose all that you can see or smell.",
  chooseDamage: "Choose what you see, or “No damage seen”.",
  damageGroups: {
    fire: "Fire and smoke",
    water: "Water",
    mould: "Mould",
    surface: "Surface and structure",
    none: "Otherwise",
  },
  howFar: (damage: string) => `How far: ${damage}`,
  wetHeading: "Wet since when?",
  wetAsSite: (when: string) => `As the site: ${when}`,
  wetUnknown: "Not known",
  wetOther: "Another time",
  wetTime: "Date and time it got wet",
  wetMissing: "Give the date and time, or choose another answer.",
  wetFuture: "That time is still to come. Check the date.",

  // Where.
  stepPlace: "Place",
  placeHeading: "Where did it hang or stand?",
  placeLead: "Kept from the last piece. Change what differs.",
  floor: "Floor",
  room: "Room",
  wall: "Wall or spot",
  recentHere: "Used before",

  savePiece: "Save the piece",
  saving: "Saving…",
  saveFailed: "Not saved. Nothing is lost: try again.",
  giveUp: "Give this piece up",
  giveUpSure: "Give this piece up? Its photos here are deleted.",

  // The result.
  savedOnPhone: "Saved on this phone",
  savedAndSent: "Saved and sent",
  hoursLeft: (hours: number) => (hours === 1 ? "hour left" : "hours left"),
  daysLeft: "days left",
  hoursOver: (hours: number) => (hours === 1 ? "hour past its time" : "hours past its time"),
  lessThanHour: "of an hour left",
  noClock: "No clock is running",
  clockPaused: "Paused while frozen",
  moveBy: (when: string) => `Move it by ${when}`,
  wasDue: (when: string) => `It should have moved by ${when}`,
  first: "First",
  then: "Then",
  never: "Never",
  why: "Why",
  freezing: "Freezing while wet",
  triageWaiting: "Hours left not known yet",
  triageWaitingText:
    "They come back as soon as this piece reaches the service. Until then treat it as the most urgent.",
  nextPiece: "Next piece",
  addPart: "Tag a part of it",
  addPhoto: "Add a photo",
  addDamage: "Add damage",
  addDetails: "Add title and maker",
  undo: (what: string) => `Undo: ${what}`,
  undoReason: "Entered by mistake",
  undoName: {
    damage_noted: (what: string) => `damage “${what}”`,
    damage_withdrawn: (what: string) => `withdrawing “${what}”`,
    photo_taken: "last photo",
    item_described: "last details",
  },
  recorded: "What is recorded",
  materials: "Materials",
  damage: "Damage",
  noDamage: "None noted",
  where: "Where",
  notRecorded: "not recorded",
  parts: "Parts",
  parentPiece: "Part of",
  howManyShort: "How many",
  allPieces: "All pieces",
  unknownPiece: "That piece was tagged on another phone. Its record is on the facility's pages.",

  // Details.
  detailsHeading: "Details",
  detailsLead: "Fill in what you know now. The rest can wait.",
  detailTitle: "Title or name",
  detailMaker: "Maker",
  detailInscriptions: "Signature, labels, marks",
  detailDescription: "Anything else",
  detailsEmpty: "Fill in at least one line.",

  // Not yet sent.
  unsentHeading: "Not yet sent",
  nothingUnsent: "Everything on this phone has been sent, with a receipt for each.",
  unsentEvents: "Entries",
  unsentPhotos: "Photos",
  unsentOldest: "Oldest",
  sendNow: "Send now",
  sending: "Sending…",
  notReached: "Nothing is lost: it is sent by itself as soon as it can be.",
  someRefused: "Some entries were refused. They stay on this phone; tell the office.",
  allRefused: "The service took nothing. It all stays on this phone",
  refusedList: "Refused by the service",
  ago: (minutes: number) =>
    minutes < 1
      ? "just now"
      : minutes < 60
        ? `${minutes} min`
        : minutes < 48 * 60
          ? `${Math.floor(minutes / 60)} h`
          : `${Math.floor(minutes / 1440)} days`,

  // What went wrong.
  loadFailed: "The service can't be reached",
  loadFailedText: "Check the network and try again. What you have saved stays on this phone.",
  storageFault: "This phone's storage failed",
  refusedWithStatus: (status: number) => `The service refused it (${status}).`,
  refusedWithoutReason: "The service refused it without a reason.",
  otherBytesStored:
    "The service holds something else under this number. Both are kept; the office settles it.",
  photoGone: "The photo is no longer on this phone. Take it again.",

  /** Names of events in the list of what waits. */
  eventName: {
    cautions_acknowledged: "Cautions read",
    item_tagged: "Piece tagged",
    item_described: "Details",
    damage_noted: "Damage noted",
    damage_withdrawn: "Damage withdrawn",
    photo_taken: "Photo entry",
    event_undone: "Undo",
  } as Readonly<Record<string, string>>,
  photoName: "Photo",
} as const;
