"""Why a request was not stored: what happened, what is saved and what to do, in two sentences at most.

A message beside a field gives the form that is allowed. Technical detail is left to the code and to the log.
"""

from app.shop.rejections import Rejection
from app.sync.engine.layout import LayoutFault
from app.wording.message import Message
from app.wording.reasons import TABLES

R, F = Rejection, LayoutFault

_ANY_FIELD = {
    R.TOO_LONG: Message("Enter at most {most} characters."),
    R.HIDDEN_SIGN: Message("Enter this without {sign}, a character that does not show."),
    R.OUT_OF_RANGE: Message("Enter {low} to {high}\u00a0{unit}.", note="unit: rpm, psi, in, minutes"),
    R.NUMBER_MISSING: Message("Enter a number."),
    R.NOT_A_NUMBER: Message("“{typed}” is not a number. Enter digits, such as 6.25."),
    R.NOT_A_WHOLE_NUMBER: Message("Enter a whole number."),
    R.NOT_ONE_OF: Message("Choose one of these: {choices}."),
    R.NOT_LISTED: Message("Choose one from the list."),
    R.NOT_A_DAY: Message("Enter a date, such as 2027-05-31."),
    R.INITIALS_MISSING: Message("Enter the initials of the person who did it."),
    R.FULL_NAME_MISSING: Message("Enter the full name, as printed on the handover sheet."),
    R.NAME_MISSING: Message("Enter the name that your shop uses for it."),
    R.NAME_TAKEN: Message("This name is on the list already. Enter another one."),
    R.REASON_MISSING: Message("Enter the reason. It stays in the engine's history."),
}

_FORMS = {
    R.STALE_FORM: Message(
        "This page is out of date and nothing was saved. Reload it and enter the value again.",
    ),
    R.KEY_REUSED: Message(
        "This form was sent before with other values, and only those are saved. Reload the page and check them.",
    ),
    R.CHANGED_BY_ANOTHER_TABLET: Message(
        "Another tablet changed this first, and your entry is not saved. "
        "Compare both, then save yours again if it is right.",
    ),
    R.ADJUSTED_BY_ANOTHER_TABLET: Message(
        "Another tablet saved an adjustment, and yours is not saved. "
        "Save it only if you made it too, then read a new round.",
    ),
}

_NOT_FOUND = {
    R.NO_SUCH_ENGINE: Message("This engine is not on record. Search for it on the Engines page."),
    R.NO_SUCH_TAG: Message("No engine has the tag {tag}. Search for its serial number on the Engines page."),
    R.NO_SUCH_VISIT: Message("This visit is not on record. Open it from the engine's page."),
    R.NO_SUCH_MOVE: Message("This adjustment is not on record. Check the list of adjustments."),
    R.NO_SUCH_METER: Message("This meter is not on record. Choose one from the list of meters."),
    R.NO_SUCH_STUDY: Message("This meter study is not on record. Open it from the meter's page."),
    R.NO_SUCH_PERSON: Message("This person is not on record. Choose one from the list of people."),
    R.NO_SUCH_SITE: Message("This site is not on record, or was closed. Choose one from the list of sites."),
    R.NO_SUCH_ROOM: Message("This room is not on record, or was closed. Choose one from the list of sites."),
    R.NO_SUCH_TABLET: Message("This tablet is not on record. Choose one from the list of tablets."),
    R.LOOK_DIFFERS: Message("The instrument did not show this value then. Take it again."),
    R.NO_SUCH_FEED: Message("This feed is not on record. Choose one from the list of feeds."),
    R.NO_SUCH_PROGRAM: Message("This program has no access any more. Choose one from the list of programs."),
    R.NO_SUCH_QUESTION: Message("This question is not on record. Choose one from the list."),
    R.NO_SUCH_TABLE: Message("This table is not on record. Choose one on the Statistics page."),
    R.NO_EARLIER_VISIT: Message("This visit has no earlier visit to compare with. Open the engine's page instead."),
    R.NOT_SIGNED_OFF: Message("This visit is not signed off yet. Correct it on its own pages."),
}

_ENGINES = {
    R.SERIAL_MISSING: Message("Enter the stamped serial number, or a number of your own."),
    R.SERIAL_TAKEN: Message("Serial number {serial} belongs to another engine on record. Enter a different one."),
    R.DISPLACEMENT_MISSING: Message("Enter the displacement of the whole engine."),
    R.IDLE_SPEED_MISSING: Message("Enter the idle speed that you want, in rpm."),
    R.SHAFT_TOO_THICK: Message("Enter a shaft diameter smaller than the bore."),
    R.BORES_MISSING: Message("Enter the cylinder numbers of this bank, front first."),
    R.NOT_A_BORE: Message("“{typed}” is not a cylinder number. Enter numbers, such as 1 2 3 4."),
    R.PLACE_MISSING: Message("Choose where the engine is."),
    R.RUNS_MISSING: Message("Choose whether the engine runs."),
    R.INTAKE_MISSING: Message("Choose what is on the intakes while you read."),
    R.INTAKE_NOTE_MISSING: Message("Enter what is on the intakes."),
    R.NOT_A_PAIR: Message(
        "“{typed}” does not name neighbors. Enter cylinder numbers with a hyphen between, such as 1-2 3-4."
    ),
    R.NOT_NEIGHBORS: Message("Bores {first} and {second} are not neighbors in one bank. Enter two that are."),
    R.PAIR_TWICE: Message("Pair {first}-{second} is in two of these fields. Enter it in one."),
    R.SENSOR_TWICE: Message("Enter one bore, or leave the field empty."),
}

_VISITS = {
    R.VISIT_OPEN: Message("This engine has an open visit. Continue it, or sign it off first."),
    R.VISIT_BEGUN: Message("Something is recorded in this visit, so it was not ended as a mistake. Continue it."),
    R.PHASES_INCOMPLETE: Message("The visit is not signed off. Complete these phases first: {phases}."),
}

_CHECKS = {
    R.NOTHING_ENTERED: Message("Nothing was entered. Check or fill in an item, then save."),
    R.NO_TEMPERATURE: Message("No temperature beside it. Enter the one read then, or clear this field."),
    R.NOT_ASKED_FOR: Message("This phase does not ask for this item."),
    R.NOTHING_TO_UNDO: Message("This item has no saved check to undo."),
    R.NOTHING_MISSING: Message("Nothing is missing in this phase. Press Continue."),
}

_STARTS_AND_STOPS = {
    R.ENGINE_RUNS: Message("The engine is not recorded as stopped. Record the stop first."),
    R.ENGINE_STANDS: Message("The engine is recorded as stopped already."),
    R.CHECK_BEFORE_START: Message("Check and tick this for every start."),
    R.NOT_STOPPED: Message("No stop is open in this visit. Reload the page."),
    R.CAUSE_MISSING: Message("Enter the cause: what made the figure go beyond the limit."),
    R.REMEDY_MISSING: Message("Enter the remedy: what was done about it."),
}

_READINGS = {
    R.NO_SUCH_BORE: Message("This engine has no bore {bore}."),
    R.METER_VALUE_MISSING: Message("Enter the value that the meter shows."),
    R.FAR_OFF: Message("Is {value} right? Check the meter, then save or correct."),
    R.CORRECTED_VALUE_UNKNOWN: Message(
        "The value that this one corrects was never saved, so neither is. Read the bore again."
    ),
    R.CHOICE_CLOSED: Message(
        "Another tablet chose first, or an adjustment was saved since, so your choice is not saved. "
        "Check the round before you continue.",
    ),
    R.NO_READINGS_HERE: Message("This phase needs no meter readings."),
    R.NO_IDLE_SPEED_HERE: Message("This phase does not record the idle speed."),
    R.ROUND_IN_PROGRESS: Message("Round {round} is in progress. Read bore {bore} first."),
    R.ANOTHER_ROUND: Message("Round {round} is in progress, so this reading is not saved. Reload the page, then read."),
    R.ROUND_COMPLETE: Message(
        "Another tablet completed round {round}, so this reading is not saved. Check the round, then read again."
    ),
    R.ADJUSTED_SINCE: Message(
        "An adjustment was saved after round {round}, so this reading is not saved. Read it in a new round."
    ),
    R.ROUND_RAN_OUT: Message(
        "Round {round} was left open too long, or the engine was stopped, so this reading is not saved. "
        "Read it in a new round."
    ),
    R.APPROACH_DIFFERS: Message(
        "Round {round} approaches its opening the other way, so this reading is not saved. "
        "Check the round, then read again.",
    ),
    R.DRIFT_CHECK_BORE: Message("The drift check of this round is of bore {bore}."),
    R.DRIFT_CHECK_LAST: Message("The drift check ends the round. Read or skip the other bores first: {bores}."),
    R.EXTRA_BEFORE_FIRST: Message("An extra reading follows the first one. Read bore {bore} in its turn."),
    R.BANK_BALANCE_ONLY: Message("This is for an opening feeler in the part-throttle bank balance only."),
}

_ADJUSTMENTS = {
    R.THROTTLES_HAVE_POWER: Message(
        "Electronic throttles: nothing at a plate is set while they have power, and only as the manufacturer says. "
        "Confirm that the power was off."
    ),
    R.MOVE_NOT_IN_PHASE: Message("This adjustment is not part of this phase. Choose another one."),
    R.AS_FOUND_FIRST: Message(
        "The as-found round comes first, so this adjustment is not saved. Read every bore, then the drift check."
    ),
    R.ADJUSTED_BEFORE_READING: Message(
        "The hot engine is read before anything is adjusted, so this adjustment is not saved. Read the bores first."
    ),
    R.MOVE_TAKEN_BACK: Message(
        "Another tablet recorded that this adjustment was not made. If it was, record it as a new adjustment."
    ),
    R.NO_SUCH_BANK: Message("Choose a bank of this engine."),
    R.NO_SUCH_COUPLER: Message("Choose a coupler of this engine."),
    R.NO_SUCH_BYPASS_SCREW: Message("Choose a bypass screw of this engine."),
    R.NO_SUCH_SCREW: Message("Choose a screw of this engine."),
    R.COUPLER_HAS_SCREW: Message("A screw sets this coupler. Enter the turns of the screw."),
    R.COUPLER_HAS_NO_SCREW: Message("This coupler has no screw. Enter the feeler that it was reset on."),
    R.TURNS_MISSING: Message("Enter how far it was turned."),
    R.TURNS_OUT_OF_RANGE: Message("Enter more than 0 and at most {most}\u00a0turns."),
    R.FLATS_OUT_OF_RANGE: Message("Enter more than 0 and at most {most}\u00a0flats."),
    R.FEELER_COUNT: Message("Enter 1 feeler, or a stack of {most}."),
    R.FEELERS_OUT_OF_RANGE: Message("Enter {low} to {high}\u00a0{unit} for all feelers together."),
    R.ENGINE_HAS_RUN: Message("The engine has run. Plates are set cold before the first start."),
    R.COLD_SETTING_UNSAFE: Message(
        "First confirm that the engine is cold and disconnected, and that no motor can move a plate."
    ),
    R.PRESET_FIRST: Message(
        "First record that every plate closes fully, and the preset turns. The feeler comes after."
    ),
    R.NOT_SET_COLD: Message("This plate is not set cold on its own. Choose one from the list."),
    R.SET_BEFORE: Message("First set plate {bore}: this plate moves with it."),
}

_CORRECTIONS = {
    R.NOTHING_CORRECTED: Message("No value was changed. Enter the correct value in place of the wrong one."),
}

_PEOPLE_AND_TABLETS = {
    R.PIN_MISSING: Message("Enter your PIN."),
    R.PIN_WRONG: Message("Wrong PIN. Enter it again."),
    R.PIN_LENGTH: Message("Enter {low} to {high} digits."),
    R.PIN_TOO_EASY: Message("Enter a PIN that is neither one digit repeated nor a row such as 1234."),
    R.PINS_DIFFER: Message("The two PINs differ. Enter the same PIN twice."),
    R.TOO_MANY_TRIES: Message("Too many wrong PINs. Try again in {wait}."),
    R.PAIRING_CODE_SHOWN: Message("The shop computer shows a code already. Enter that code."),
    R.PAIRING_CODE_WRONG: Message("Wrong or expired code. Show a new one on the shop computer and enter it."),
}

_SITES = {
    R.OTHER_SITE: Message("This visit is at {site}, and this is not saved. Record it on a tablet of that site."),
    R.OTHER_SITES_ENGINE: Message(
        "This engine was last at {site}, and this is not saved. Change it on a tablet of that site."
    ),
    R.NO_ROOM_YET: Message(
        "This belongs to {site}, and a tablet without a room does not record there. "
        "Give it a room on the shop computer."
    ),
    R.HEAD_OFFICE_ONLY: Message("Only head office reads this for other sites. Look at it for your own site."),
    R.SECOND_HEAD_OFFICE: Message("Another site is the head office. Take the mark off there first."),
}

_PROGRAMS = {
    R.SCOPES_MISSING: Message("Choose at least one thing that the program may do."),
    R.TOKEN_DAYS: Message("Enter a whole number of days from 1 to {most}."),
    R.TOKEN_SHOWN: Message(
        "This token was shown before and cannot be shown again. Remove its access and create another."
    ),
}

_METERS = {
    R.METER_RANGE: Message("Enter a range from 0 or more up to at most {most}, the highest value last."),
    R.METER_STEP: Message("Enter the smallest step that you can read, at most a quarter of the range."),
    R.METER_UNITS_DIFFER: Message("Meter {other} reads {other_unit}. Choose one that reads {unit}."),
    R.STUDY_COMPLETE: Message("This study is complete and the reading is not saved. Start a new study to read more."),
}

_SETTINGS = {
    R.WIDER_THAN_FIRST_FIRE: Message("Enter at most {most}\u00a0%, the tolerance of the first fire."),
    R.OPENING_FEELERS: Message("Enter 2 or 3 different opening feelers, the thinnest first."),
    R.FEELER_SET: Message("Enter 1 to {most} feelers."),
    R.NOT_A_THICKNESS: Message("“{typed}” is not a thickness. Enter numbers, such as {examples}."),
    R.PEOPLE_LINES: Message("Enter a line for each person: initials of at most {most} characters, then the name."),
    R.INITIALS_TWICE: Message("Two people have the initials {initials}. Add a letter to one of them."),
    R.TOO_MANY_PEOPLE: Message("Enter at most {most} people."),
}

_TRAINING = {
    R.REAL_ENGINE: Message("This is a real engine. Enter the value that the instrument shows."),
    R.NO_TRAINING_ENGINE: Message("This visit has no training engine. Start one on the Training page."),
    R.TRAINING_FLOW_ONLY: Message("The training engine needs an air flow meter. Open a visit with one."),
    R.TRAINING_LAYOUT_CHANGED: Message(
        "The layout of this training engine was changed, so it gives no more readings. Start another one."
    ),
    R.TRAINING_NO_LINK_RODS: Message("This fault needs link rods. Choose an engine with 2 banks."),
    R.TRAINING_STAYS: Message("A training engine cannot be exported, as another shop would take it for a real one."),
}

_ENGINE_FILES = {
    R.FILE_MISSING: Message("Choose an engine file first. Its name ends in .json, or .zip for several."),
    R.FILE_LOST: Message("This page lost the file and nothing was imported. Choose the file again."),
    R.FILE_TOO_LARGE: Message("The file is larger than {most}\u00a0MB. Choose an engine file."),
    R.FILE_TAKES_TOO_LONG: Message("Nothing imported: it took too long. Try again when nothing else runs here."),
    R.FILE_NEEDS_MORE_MEMORY: Message(
        "Nothing imported: the shop computer ran out of memory. Close other programs there, then try again."
    ),
    R.FILE_WITHOUT_TIME: Message("Not imported: there was no time left. Import this file alone."),
    R.FILES_TOO_LARGE: Message("The zip holds more than {files} engine files or {most}\u00a0MB. Import it in parts."),
    R.FILE_NOT_AN_ENGINE: Message("This is not an engine file. Choose a file that another shop exported."),
    R.FILE_VERSION: Message(
        "The file has version {version} and this program reads versions 1 to {newest}. Update the program."
    ),
    R.FILE_NOT_BY_SCHEMA: Message(
        "The file does not match the engine file format, and nothing was imported. Wrong fields: {fields}.",
        note="fields: paths in the file, such as visits.0.opened_at",
    ),
    R.FILE_CONTRADICTS_ITSELF: Message(
        "The file contradicts itself, and nothing was imported: {faults}.",
        note="faults: phrases such as “visit 2: a reading belongs to no round”",
    ),
    R.FILE_OPEN_VISITS: Message(
        "This shop and the file each have an open visit, and nothing was imported. Sign off one of them first."
    ),
    R.FILE_ENTRY_DIFFERS: Message(
        "Entry {key} ({kind}) of the file differs from the one saved here, and nothing was imported. "
        "Ask the other shop for a new file.",
    ),
    R.HAND_OVER_UNNAMED: Message(
        "An engine is handed over by a program with a token of its own. Create one with the scope hand-over."
    ),
    R.HAND_OVER_ASKED: Message(
        "An engine with this serial number is on record here. Nothing is stored until a person here says whether it is "
        "the same one."
    ),
    R.NOT_ELSEWHERE: Message("This visit belongs to no other shop. Record in it here."),
    R.VISIT_TAKEN_OVER: Message(
        "A person took an open visit of this engine over here, and nothing more of it is taken in. Sign it off there."
    ),
    R.FILE_SEALS: Message(
        "Entries of the file changed or went missing after it was made, and nothing was imported: {keys}. "
        "Ask the other shop for a new file.",
        note="keys: the beginnings of keys",
    ),
    R.FILE_OF_ANOTHER_ENGINE: Message(
        "Part of the file belongs to another engine here, and nothing was imported. Ask the other shop for a new file."
    ),
}

REJECTIONS: dict[Rejection, Message] = {
    **_ANY_FIELD,
    **_FORMS,
    **_NOT_FOUND,
    **_ENGINES,
    **_VISITS,
    **_CHECKS,
    **_STARTS_AND_STOPS,
    **_READINGS,
    **_ADJUSTMENTS,
    **_CORRECTIONS,
    **_PEOPLE_AND_TABLETS,
    **_SITES,
    **_PROGRAMS,
    **_METERS,
    **_SETTINGS,
    **_TRAINING,
    **_ENGINE_FILES,
}

LAYOUT_FAULTS: dict[LayoutFault, Message] = {
    F.BANK_COUNT: Message("An engine has 1 to {most} banks."),
    F.BANK_WITHOUT_BORES: Message("Bank {bank} has no bore. Enter at least one cylinder number."),
    F.BANK_TWICE: Message("Two banks have the same name. Give each its own."),
    F.STOP_ELSEWHERE: Message("The stop screw of bank {bank} sits at a bore of that bank. Enter one of those bores."),
    F.DRIVE_ELSEWHERE: Message("The link rod of bank {bank} acts at a bore of that bank. Enter one of those bores."),
    F.JOINT_COUNT: Message("Bank {bank} has one joint fewer than bores."),
    F.TOO_MANY_BORES: Message("Enter at most {most} bores."),
    F.BORE_TWICE: Message("Enter each cylinder number once."),
    F.BORE_NUMBER: Message("Enter cylinder numbers from 1 up."),
    F.SENSOR_ELSEWHERE: Message("The throttle position sensor sits at a bore of the engine. Enter one of its bores."),
    F.SPRINGLESS_ELSEWHERE: Message("Enter bores of this engine only."),
    F.BYPASS_ELSEWHERE: Message("Enter bores of this engine only."),
    F.EXTRA_ELSEWHERE: Message("Enter bores of this engine only."),
    F.EXTRA_TWICE: Message("Enter each bore once."),
    F.JOINED_BESIDE_MOTORS: Message(
        "With a motor at each bore, no plate is joined to another. Leave shared shafts and coupler screws empty."
    ),
    F.EXTRA_UNKNOWN: Message("This program knows no adjuster of kind {kind}.", note="kind is a code"),
}

TABLES.update({Rejection: REJECTIONS, LayoutFault: LAYOUT_FAULTS})  # type: ignore[dict-item]
