"""Every code that was published, by its enum."""

CODES = """
Rejection: adjusted-before-reading adjusted-by-another-tablet adjusted-since-round adjustment-taken-back another-round
  approach-differs as-found-first bank-balance-only bores-missing cause-missing changed-by-another-tablet
  check-before-start choice-closed cold-setting-unsafe corrected-value-unknown coupler-has-no-screw coupler-has-screw
  displacement-missing drift-check-bore drift-check-last engine-has-run engine-runs engine-stopped-already
  extra-before-first far-off feeler-count feeler-set feelers-out-of-range file-contradicts-itself file-entry-differs
  file-lost file-missing file-needs-more-memory file-not-an-engine file-not-by-schema file-of-another-engine
  file-open-visits file-seals file-takes-too-long file-too-large file-version file-without-time files-too-large
  flats-out-of-range full-name-missing hand-over-asked hand-over-unnamed head-office-only hidden-sign
  idle-speed-missing initials-missing initials-twice intake-missing intake-note-missing key-reused look-differs
  meter-range meter-step meter-units-differ meter-value-missing move-not-in-phase name-missing name-taken
  no-earlier-visit no-idle-speed-in-phase no-open-stop no-readings-in-phase no-room-yet no-such-adjustment
  no-such-bank no-such-bore no-such-bypass-screw no-such-coupler no-such-engine no-such-feed no-such-meter
  no-such-person no-such-program no-such-question no-such-room no-such-screw no-such-site no-such-study no-such-table
  no-such-tablet no-such-tag no-such-visit no-temperature no-training-engine not-a-bore not-a-day not-a-number
  not-a-pair not-a-thickness not-a-whole-number not-asked-for not-elsewhere not-listed not-neighbors not-one-of
  not-set-cold not-signed-off nothing-corrected nothing-entered nothing-missing nothing-to-undo number-missing
  opening-feelers other-site other-sites-engine out-of-range pair-twice pairing-code-shown pairing-code-wrong
  people-lines phases-incomplete pin-length pin-missing pin-too-easy pin-wrong pins-differ place-missing preset-first
  real-engine reason-missing remedy-missing round-complete round-in-progress round-ran-out runs-missing scopes-missing
  second-head-office sensor-twice serial-missing serial-taken set-before shaft-too-thick stale-form study-complete
  throttles-have-power token-days token-shown too-long too-many-people too-many-tries training-flow-only
  training-layout-changed training-no-link-rods training-stays turns-missing turns-out-of-range visit-begun
  visit-open visit-taken-over wider-than-first-fire
LayoutFault: bank-count bank-twice bank-without-bores bore-number bore-twice bypass-not-a-bore drive-not-in-bank
  extra-not-a-bore extra-twice extra-unknown joined-beside-motors joint-count sensor-not-a-bore springless-not-a-bore
  stop-not-in-bank too-many-bores
RequestFault: bad-request foreign-origin header-too-long https-only internal-error json-expected method-not-allowed
  no-dry-run no-feed not-found not-json not-paired scope-missing shop-computer-only timed-out token-unknown too-large
  too-many-requests too-many-streams too-often too-slow unknown-host wrong-shape
FieldFault: hidden-sign malformed not-a-uuid not-one-of out-of-range required too-long too-short unknown-field
  wrong-type
Waiting: check-first earlier-phase engine-stands heat-ran-out no-such-phase not-heat-soaked preset-destroys-as-found
  required-cannot-be-waived stopped visit-elsewhere visit-opened-by-mistake visit-signed-off
Requirement: bank-on-stop banks-together coolant-hot even-round head-hot heat-again heat-cycle heat-low heat-moving
  heat-old heat-rising heat-since-start heat-soak heat-time heat-unread idle-again idle-off idle-round item lever-shut
  oil-hot oil-pressure-low opening-rounds opening-speed over-rev-limit phase pulls quick-round round-after-adjustment
  snap-loose-bank snap-loose-coupler snap-read
SkipReason: later not-safe out-of-reach plate-out-of-order
SetAside: other-value-counts
FittingReason: as-registered
Unavailable: backup-damaged backup-elsewhere backup-exists backup-failed damaged damaged-while-open
  damaged-without-backup disk-error disk-full file-in-use file-missing file-replaced folder-not-created
  folder-read-only missing newer-program no-backup-file no-shop not-created not-opened open-elsewhere read-only
  restore-failed system-message upgrade-failed write-stuck
"""
"""What programs rely on: a code may be added here, but never renamed or taken out."""
