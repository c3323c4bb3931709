"""What the command line shows: help texts, where the program is open, results of commands, errors of the server."""

from collections.abc import Mapping

from app.wording.message import Message

SERVE_HELP = Message("Open the shop's records, stored in the platform's standard folder for user data.")
DEMO_HELP = Message(
    "Open a demonstration shop. It is deleted when the program closes, unless --data names a folder or a database."
)
BACKUP_HELP = Message("Save a backup of the records and verify it. The program may be running.")
RESTORE_HELP = Message(
    "Restore a backup. The replaced records are moved to another folder. Without FILE, list the backups."
)
CHECK_HELP = Message("Verify the records and report problems. Changes nothing. The program may be running.")

PROGRAM_HELP = Message(
    "Give a program of others access: prints its token, once. Evenbore must be closed where its records are in a "
    "folder; while it is open, use its page Programs with access."
)
PROGRAM_NAME_HELP = Message("Name of the program, such as the bench that it runs on.")
SCOPE_HELP = Message("What it can do. Repeat the option for more.")
DAYS_HELP = Message("Days until the access ends.")
SITE_HELP = Message("Name of the site that it works for. Default: all of the shop.")
TOKEN = Message("{token}")
TOKEN_ONCE = Message("This is the only time that the token is shown. It is good until {at:%Y-%m-%d}.")

AUTOSTART_HELP = Message(
    "Start the program automatically when you sign in to this computer, with the options given here."
)
AUTOSTART_SHOW_HELP = Message("Show what is registered to start, and with which options.")
AUTOSTART_REMOVE_HELP = Message("No longer start the program automatically. A running program stays open.")

PORT_HELP = Message("Port to listen on. 0 selects any free port.")
HOST_HELP = Message("Address to listen on.")
LAN_HELP = Message("Give paired tablets on the same network access.")
NO_NAME_HELP = Message("With --lan: announce no name, so that tablets open the program by its number only.")
TLS_HELP = Message("Use https, with the shop's own certificate. Each tablet must trust it once.")
PROXY_HELP = Message(
    "A proxy passes every request on, and tablets open it at this address, such as https://sync.example. It must pass "
    "the header Host on unchanged. No request then counts as made on the shop computer."
)
NO_PUBLIC_ADDRESS = Message(
    "Give the address as tablets open it: http or https, a name, a port if it has one, no path."
)
DATA_HELP = Message(
    "Folder of the shop's records, or the address of a database as postgresql://user@server/database; a password is "
    "read from the file that PGPASSFILE names."
)
CARRY_HELP = Message(
    "Carry a whole shop from a folder to a database server, or back, into an empty shop. Close the program first."
)
CARRY_FROM_HELP = Message("Folder or database of the shop to carry. It stays as it is.")
CARRY_TO_HELP = Message("Folder or database to carry it to, which is made or must be empty.")
DATA_IS_A_FILE = Message("{file} is a file, not a folder.")
TO_HELP = Message("File or folder to save the backup in. Default: the shop's own backup folder.")
FILE_HELP = Message("Backup to restore.")
EMPTY_HELP = Message("Start an empty shop instead.")

OPEN_AT = Message("Evenbore is open at {address}")
OPEN_ON_TABLETS = Message("On a tablet on the same network: {address}")
OPEN_THROUGH_PROXY = Message("Through the proxy, Evenbore is open at {address}")
LISTENS_FOR_PROXY = Message("Let the proxy pass requests on to {address}")
OPEN_BY_NAME = Message("On a tablet, by name: {address}")
NAME_TAKEN = Message("Another computer on this network is called {taken}. This one is called {name}.")
NAMES_TAKEN = Message(
    "Every name that Evenbore uses is taken on this network, the last one {taken}. Open the program by its number."
)
NAME_NOT_ANNOUNCED = Message(
    "This network does not carry the name {name} ({why}). Open the program by its number on tablets."
)
NO_NETWORK = Message("This computer is not connected to a network. Tablets cannot reach it.")
PAIRING_CODE = Message(
    "To pair a tablet, scan this or type the code {code} on the page it opens. "
    "The code works once, and for {minutes} minutes."
)
CLOSED = Message("Evenbore is closed.")
RESTORED_WHILE_DAMAGED = Message("The damaged records were replaced. Starting again.")

AUTOSTART_WRITTEN = Message(
    "Evenbore starts automatically the next time you sign in to this computer. What starts: {file}"
)
AUTOSTART_SOONER = Message("To start it with the computer, before anyone signs in: {line}")
AUTOSTART_FILE = Message("What starts when you sign in: {file}")
AUTOSTART_REMOVED = Message("Evenbore no longer starts automatically. Removed: {file}")
NO_AUTOSTART = Message("Evenbore does not start automatically. To have it start: evenbore autostart")
AUTOSTART_BY_HAND = Message("This computer did not accept a command. Type it yourself: {line}")
AUTOSTART_UNKNOWN = Message(
    "Evenbore cannot start automatically on {system}. Add evenbore serve to what this system starts when you sign in."
)

FOREIGN_ADDRESS = Message(
    "{host} is not an address of this computer. Omit --host, or use --host 0.0.0.0 for every address."
)
PORT_IN_USE = Message(
    "Port {port} is in use, possibly by another Evenbore program. Close that program, or choose another port: "
    "--port {other}, or --port 0 for any free port."
)
PORT_RESERVED = Message("Port {port} is reserved by the system. Choose a port above 1023, for example --port 8000.")
NOT_LISTENING = Message("Cannot listen on {host}, port {port} ({why}).")

BACKUP_SAVED = Message("Backup saved and verified: {file}")
BACKUP_OPEN_TO_OTHERS = Message(
    "Other users of this computer can read {file}, which names customers: its disk keeps no user rights."
)
BACKUPS = Message("Backups in {folder}, newest first:")
NO_BACKUPS = Message("No backups in {folder}.")
BACKUP_LINE = Message("  {name}  {at:%Y-%m-%d %H:%M} UTC  {megabytes:.1f}\u00a0MB")
HOW_TO_RESTORE = Message("To restore one: evenbore restore FILE")
FILE_OR_EMPTY = Message("Give a backup file or --empty, not both.")
RESTORED = Message("Backup restored: {file}")
EMPTY_NOW = Message("The shop is empty now.")
REPLACED_RECORDS = Message("The replaced records are in {folder}")
NO_PROBLEMS = Message("No problems found.")

TRUST = Message(
    "Each tablet must trust this computer once. Open {page} on the tablet. The fingerprint shown there must be"
)
FINGERPRINT_LINE = Message("  {pairs}")
NOT_COVERED = Message(
    "Not covered, so a tablet warns there: {names}. The certificate covers private addresses and this computer's "
    "own names only."
)

AUTHORITY_NAME = Message("Evenbore, this shop's own", note="The name that a tablet shows in its list of certificates.")
CERTIFICATE_PROBLEMS: Mapping[str, Message] = {
    "not-saved": Message("The certificate cannot be saved in {place} ({why})."),
    "unreadable": Message(
        "{place} does not hold a readable key and certificate. Move the file to another folder and start again: the "
        "program creates a new one. After a new authority.pem, each tablet must trust this computer again."
    ),
}
"""By code of ``app.server.certificates.CertificateProblem``: wording imports no module of the server."""

FEED_HELP = Message("Let a program send live values, and show its token once.")
FEED_NAME_HELP = Message("What the feed is called.")
FEED_WITHDRAW_HELP = Message("Withdraw the access of the feed NAME.")
FEED_UNKNOWN = Message("No feed is called {name}.")
FEED_ON_THE_PAGE = Message(
    "The program is running and was not reached. Use its page Live values on this computer, or give its --port."
)
LIVE_HELP = Message("Read the instruments named in FILE and send what they show to Evenbore.")
LIVE_FILE_HELP = Message("The file with channels and sources (TOML).")
LIVE_TO_HELP = Message("Address of the program, for example http://127.0.0.1:8000.")
SERVE_LIVE_HELP = Message("Channel file: read its instruments as well, in a process of its own.")
FEED_HELP = Message("Give the feed NAME access to the running program, and print its token once.")
FEED_NAME_HELP = Message("What the feed is called in the list of live values.")
LIVE_TOKEN_HELP = Message("File with the token that 'evenbore feed' printed; else taken from EVENBORE_FEED_TOKEN.")
