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
  stepOf: (step: number, steps: number, name: string) => `Step ${step} of ${steps}: ${name}`,

  // Choosing the loss.
  chooseLoss: "Which loss are you at?",
  noLosses: "No loss is open. The office opens one when the call comes in.",
  loadingLosses: "Looking for open losses…",
  authorised: "Authorised",
  notAuthorised: "No authorisation yet",
  needsSecure:
    "This address is not secure, so the browser refuses the camera, the digests that protect the record and starting without a network. Open the https address that the office shows.",

  // The app itself: without a network, on the home screen, and new versions of it.
  keepingApp: "Keeping this page on the phone, for when there is no network…",
  appKept: "This page is kept on the phone and starts without a network.",
  appNotKept: "This page would not start without a network",
  appNotYet:
    "It could not be kept on this phone yet. Stay where the network is good and open it once more; until then, leave it open. If it keeps failing, the phone may not trust this address: ask the office.",
  appNever:
    "This browser keeps no page, which may be because its window is private. Use an ordinary window or another browser, or leave the page open.",
  homeScreen: "Put this page on the home screen",
  homeScreenWhy:
    "It then opens with one touch, and the phone is less likely to clear what is kept here.",
  homeScreenByHand:
    "Open the browser's menu, or its Share button, and choose what adds a page to the home screen.",
  homeScreenInstall: "Put it there",
  homeScreenPutOff: "Not now",
  newVersion: "A new version is ready",
  newVersionText: "It runs once you reload. What is recorded here stays, sent or not.",
  reload: "Reload now",

  // Enrolling this phone, and what it says when the office has stopped it.
  notEnrolled: "This phone is not enrolled. Ask the office for a code.",
  thisPhone: (name: string) => `This phone is ${name}.`,
  enrol: {
    heading: "Enrol this phone",
    lead: "The office shows a code under Phones. It works once.",
    pointAtCode: "Hold the office's code inside the frame",
    codeLabel: "The office's code",
    codeHint: "16 letters and digits. O counts as 0; I and L count as 1.",
    codeWrong: "That is not the office's code: it has 16 letters and digits. Compare each.",
    use: "Enrol this phone",
    busy: "Enrolling…",
    failed: "Not enrolled",
    again: "Try again",
    otherCode: "Use another code",
    already: (name: string) => `This phone is enrolled as ${name}`,
    goOn: "Go on",
    stillWaiting:
      "This phone holds entries or photos that the service has not confirmed. They can't be sent under a new name. Save them to a file, have the office take it in, then send once more; after that, enrol.",
    stillWaitingTitle: "First see what is here safe",
  },
  stopped: {
    title: "The office has stopped this phone",
    why: (when: string, because: string) => `On ${when}: ${because}.`,
    todo: (waiting: number) =>
      waiting === 0
        ? "Nothing is lost: all that was recorded here has been sent. To go on, have the office enrol this phone again."
        : `Nothing is lost: ${many(waiting, "thing stays", "things stay")} on this phone. Touch “${waiting} not yet sent”, save to a file and take it to the office. Once that is taken in and sent, the phone can be enrolled again.`,
    enrolAgain: "Enrol it again",
  },

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
  tonesOn: "Turn tones on",
  tonesOff: "Turn tones off",
  pointAtTag: "Hold the tag inside the frame",
  codeLabel: "Code on the tag",
  codeHint:
    "13 letters and digits. O counts as 0; I and L count as 1. Put ? for each one you can't read; of a torn tag, type what is left.",
  useCode: "Use this code",
  cameraRefused: "The camera did not start. Allow it in the browser's settings, or type the code.",
  fault: {
    other_address: "That code holds a web address, not one of our tags. Scan the tag.",
    check:
      "The check character does not fit: one character is wrong or two are swapped. Compare each with the tag.",
    character: (place: number, character: string) =>
      character === "U"
        ? `Character ${place} is a U, which tags never use. Is it a V?`
        : character === "?"
          ? "Not every character can be read. Choose the piece below, or take a new tag."
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
  noPhoto: "Without a photo",
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
  workedOutHere: "Worked out on this phone",
  workedOutHereShort: "worked out on this phone",
  workedOutHereText: (version: string) =>
    `From what this phone knows, by the facts of version ${version}. The service's own answer takes its place as soon as it can be had.`,
  nextPiece: "Next piece",
  addPart: "Tag a part of it",
  addPhoto: "Add a photo",
  addDamage: "Add damage",
  addDetails: "Add title and maker",
  undoReason: "Entered by mistake",
  undoName: {
    damage_noted: (what: string) => `damage “${what}”`,
    damage_withdrawn: (what: string) => `withdrawing “${what}”`,
    photo_taken: "last photo",
    item_described: "last details or correction",
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

  moving: {
    button: "Move pieces",
    heading: "Move pieces",
    lead: "Pack, load the truck, hand over; at the other end, receive.",
    pieces: (count: number) => many(count, "piece", "pieces"),
    pack: "Pack a container",
    load: "Load a truck",
    receive: "Receive",
    containers: "Packed, not yet on a list",
    noContainers: "Nothing waits in a container.",
    lists: "Lists of trucks",
    noLists: "No truck is on a list yet.",
    handedOver: (to: string) => `Handed over to ${to}`,
    notHandedOver: "Not handed over yet",

    // What a scanned tag is.
    unknownHere: "No piece is known here under this tag",
    unknownHereText: "It counts all the same. If nobody has tagged it, tag it next.",

    // Packing.
    whichContainer: "Which container?",
    whichContainerLead: "Write the same name on the container itself.",
    containerName: "Name or number of the container",
    containerHint: "Such as K7. A spare tag works too: tie it on, then scan it.",
    containerWrong: "Use letters, digits, dots and hyphens only, such as K7.",
    containerIsPiece: "That tag is on a piece. Use a spare tag, or a name.",
    startPacking: "Start packing",
    scanSpare: "Scan a spare tag",
    carryOnWith: "Carry on with",
    packing: (container: string) => `Packing ${container}`,
    packedNow: "Packed",
    alreadyPacked: "Already in this container",
    alreadyPackedText: "It was counted once.",
    takenFrom: (container: string) => `It was in ${container} before; now it is here.`,
    otherLoss: (title: string) => `It belongs to another loss: ${title}`,
    otherLossText: "Take it out again unless it travels with this load on purpose.",
    isContainer: "That is this container's own tag.",
    mayNotMove: "It must not be moved yet",
    neverPacking: "Mind while packing it",
    keptApart: "It must not be in one container with a piece inside",
    keptApartText: (what: string) => `Not with: ${what}. Take one of them out.`,
    undoLast: "Undo the last",
    inside: (count: number) => `${many(count, "piece", "pieces")} inside`,
    emptyContainer: "Nothing inside yet.",

    // The truck.
    truckHeading: "Load a truck",
    truckLead: "Take off the list what does not go.",
    nothingToLoad: "Nothing waits to be loaded. Pack or tag pieces first, or scan what goes on.",
    looseHeading: "Loose pieces",
    containersHeading: "Containers",
    addByScan: "Add a piece by scan",
    stopScan: "Stop scanning",
    added: "On the list now",
    alreadyListed: "On the list already",
    vehicle: "Vehicle",
    vehicleHint: "Its number plate, or what the crew calls it.",
    vehicleMissing: "Name the vehicle: the facility looks out for it.",
    leavesAt: "Leaves at",
    expectedAt: "Expected at the facility",
    timeMissing: "Give the date and time.",
    timeOrder: "It can't arrive before it leaves. Check both times.",
    nothingChosen: "Choose at least one container or piece.",
    closeList: (count: number) => `Close the list: ${many(count, "piece", "pieces")}`,

    // Handing over.
    handoverHeading: "Hand over",
    handoverLead: "Let whoever receives scan this code. With it they can start without a network.",
    listCode: "Code of this list",
    delayed: (when: string, why: string) => `Late: now expected ${when}. ${why}`,
    sayDelayed: "The truck is late",
    givenBy: "Given by",
    takenBy: "Taken by",
    takenByHint: "The driver, or whoever takes charge of the load.",
    nameMissing: "Give the name.",
    signatureHeading: "Signature of the person who takes it",
    ways: { glass: "Sign on the glass", paper: "Signed on paper", name: "Name only" },
    padLabel: "Space for the signature. Those who can't draw can sign on paper instead.",
    padHint: "Sign here with a finger or a pen",
    padEmpty: "Nothing is drawn yet. Sign in the box, or choose another way.",
    clear: "Clear",
    paperPhoto: "Take a photo of the signed paper",
    paperMissing: "Take the photo of the signed paper, or choose another way.",
    nameOnly: "Only the typed name is recorded. A signature is the better record.",
    handOver: "Hand over",
    handedOverAlready: "This load has been handed over",
    handedOverBy: (from: string, to: string) => `${from} gave it to ${to}.`,
    handOverAgain: "Hand over again",

    // A truck that comes later.
    delayHeading: "The truck is late",
    delayLead: "Say when it will arrive and why. The facility plans by it.",
    delayWas: (when: string) => `Expected so far: ${when}`,
    delayAt: "Now expected at",
    delayWhy: "Why",
    delayWhyHint: "Such as: flat tyre, road closed.",
    delayWhyMissing: "Say why in a few words.",
    delayPast: "That time has passed. Give the time you expect now.",
    delaySave: "Save the new time",

    // Receiving.
    receiveHeading: "Receive a load",
    receiveLead: "Choose the list that came with it.",
    receiveOffline: "The service can't be reached. The lists are those last seen on this phone.",
    expected: (when: string) => `Expected ${when}`,
    ofListed: (came: number, listed: number) => `${came} of ${listed} here`,
    otherList: "A list not shown here",
    otherListHint: "Its code and name are on the phone or the paper of whoever handed over.",
    scanList: "Scan the code of the list",
    notListCode:
      "That is no code of a list. Look on the paper or the phone of whoever handed over.",
    listOfOtherLoss: (loss: string) => `That list belongs to another loss: ${loss}`,
    openOtherLoss: "Receive it there",
    otherListWrong: "That can't be the name of a list. Check it.",
    useList: "Use this list",
    withoutList: "Receive without a list",
    receiving: (list: string) => `Receiving ${list}`,
    receivingNone: "Receiving without a list",
    listNotKnown: "This list has not reached this phone",
    listNotKnownText:
      "Scan what arrives. What is missing or surplus shows as soon as the list is here.",
    noListText:
      "Scan what arrives. Each piece counts for its list once both phones have sent what they hold.",
    putIt: "Put it",
    receivingArea: "Receiving area",
    condition: "Note for the next piece",
    conditionHint: "Damaged on the way? Say so, then scan it. Leave empty if not.",
    damagePhoto: "Damaged? Take a photo of it",
    damagePhotoOf: (what: string) => `Photo of ${what}`,
    nowUnder: "now under",
    arrived: "Arrived",
    missing: "Missing",
    surplus: "Surplus",
    arrivedNow: "Arrived",
    arrivedBefore: "Scanned in before",
    arrivedBeforeText: "It was counted once.",
    surplusNow: "Surplus: not on this list",
    finish: "Finish",
    scanOn: "Scan on",
    receivedHeading: (came: number, listed: number) =>
      `${came} of ${listed} listed pieces are here`,
    receivedCount: (count: number) => `${many(count, "piece", "pieces")} received`,
    allHere: "Everything on the list is here, and nothing else",
    missingText: "Look in the truck and in the containers again, then call whoever handed over.",
    surplusText: "Keep them apart until somebody knows where they belong.",
    done: "Done",
  },

  tagging: {
    // Before entry.
    lastSeen: "As last seen on this phone",
    lastSeenText: "The service is being asked for news. Ask on the site what has changed.",
    newCautions: "There are cautions here that you have not read",
    readNow: "Read them now",
    scanned: (tag: string) => `You scanned the tag ${tag}. Choose the loss it belongs to.`,

    // A tag that can't be read whole.
    lookalikes: "Is it one of these?",
    noneAlike: "No piece on this phone has a tag like that.",
    notAlike: "If the tag is blank and can't be read, throw it away and take another.",

    // Faster.
    sameAsLast: "Same as the last piece",
    sameDamage: "Same damage as the last piece",
    morePhotos: (count: number) => `${many(count, "photo", "photos")} taken. Take another, or look`,
    summary: "What will be saved",
    change: "Change:",
    photos: "Photos",
    noPhotos: "None",
    composite: "Several materials",
    compositeText: "The shortest time of any of them counts, and every “never” of each.",

    // Mould.
    mouldHeading: "Has somebody qualified said how far the mould goes?",
    mould: {
      "0": "Nobody has said",
      "1": "Condition 1: no more than any such room",
      "2": "Condition 2: settled dust and spores, no growth to speak of",
      "3": "Condition 3: it grows or has grown here",
    } as Readonly<Record<string, string>>,
    mouldShort: (condition: number) => `Mould condition ${condition}`,

    // Another tag.
    retag: "Give it a new tag",
    retagHeading: "A new tag for this piece",
    retagLead: "Tie the new tag on, then scan it. The old and the new both lead to the piece.",
    retagWhy: "What is wrong with the old one?",
    retagReasons: {
      torn: "Torn or soiled",
      lost: "Lost",
      unreadable: "Can't be read",
    },
    retagSame: "That is the tag it has. Scan a new one.",
    tags: "Tags",
    now: "now",
    before: "before",

    // One tag on two pieces.
    twice: "This tag is on two pieces",
    twiceText: (mine: string, others: string) =>
      `Recorded from this phone: ${mine}. Recorded from elsewhere: ${others}. Give one of them a new tag.`,
    anew: "Give this phone's piece a new tag",
    anewLead:
      "Take the old tag off the piece recorded from this phone, tie a new one on and scan it. All that this phone said of the piece moves to the new tag; the old one stays with the other piece.",
    anewReason: "The tag was on two pieces",

    // Parts.
    bagHolds: "What is in the bag?",
    bagHint: "Such as: 14 flakes of paint from the lower left, two splinters of the frame.",
    bagLead: "Bag the fragments and tie the tag to the bag.",
    holds: "Holds",
    notes: "Notes",

    // Correcting and taking back.
    correct: "Correct what it is",
    correctHeading: "Correct what it is",
    correctNothing: "Nothing has been changed.",
    undo: "Undo the last entry",
    undoHeading: (what: string) => `Take back: ${what}?`,
    undoWhen: (when: string) => `Entered ${when}. It stays in the record as taken back.`,
    takeBack: "Take it back",
    keepIt: "Keep it",
    undone: (what: string) => `Taken back: ${what}`,
    nothingToUndo:
      "Nothing is left to undo. The tag itself stays: correct what it is, or give it a new tag.",
  },

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
  ageWords: { over_day: "over a day", over_three_days: "over three days" },
  ageTitle: {
    over_day: "Some of this has waited for over a day",
    over_three_days: "Some of this has waited for over three days",
  },
  ageText:
    "Until it is sent it exists on this phone alone. Bring the phone to where there is a network, or save it to a file and carry that to the office.",
  lastTry: (minutes: number) => `Last tried: ${strings.ago(minutes)}.`,
  moreWaiting: (count: number) => `and ${count} more`,
  fileHeading: "No network for long?",
  fileText:
    "Save all of this to a file and bring it to the office. This phone keeps everything until the service has given it a receipt; what arrives both ways is stored once.",
  makeFile: "Save to a file",
  makingFile: "Making the file…",
  fileReady: (name: string, megabytes: string) => `${name} (${megabytes} MB)`,
  fileHolds: (events: number, photos: number) =>
    `It holds ${many(events, "entry", "entries")} and ${many(photos, "photo", "photos")}.`,
  fileFailed: "The file could not be made. Everything is still on this phone.",
  photosUnreadable: (count: number) =>
    `${many(count, "photo", "photos")} could no longer be read and ${count === 1 ? "is" : "are"} not in the file. Take ${count === 1 ? "it" : "them"} again.`,
  roomScarce: (megabytes: string) => `Only ${megabytes} MB of room left on this phone`,
  roomScarceText: "Send what waits, or delete things that are not Lagan's, before you go on.",
  mayBeCleared: "This browser may clear what is stored here when the phone runs out of room",
  mayBeClearedText:
    "Install the app on this phone: it then keeps its own store. In Safari: Share, then Add to Home Screen.",
  installApp: "Install the app",
  askAgain: "Ask the browser to keep it",
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
  storageFaultText:
    "What was written could not be read back as it was. Try again; if it fails again, use another phone and show this one to the office.",
  storageFull:
    "This phone has no room left for it. Nothing is lost: the piece in hand stays. Delete things that are not Lagan's, or send what waits, then try again.",
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
    item_packed: "Packed",
    manifest_closed: "List of a truck",
    manifest_delayed: "Truck late",
    handed_over: "Handover",
    item_received: "Received",
    event_undone: "Undo",
  } as Readonly<Record<string, string>>,
  photoName: "Photo",
} as const;
