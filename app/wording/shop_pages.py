"""What the shop's own pages say besides their fixed text: requests that lead nowhere, and the damaged shop."""

from app.wording.message import Message

NOT_DONE = Message("Not done")
NOT_SAVED = Message("Not saved")
NOT_FOUND = Message("Not found")
NO_PAGE = Message("This page does not exist.")
SHOP_COMPUTER_ONLY = Message("Do this on the shop computer, at the first address that the program printed.")
NO_TLS = Message("The program was started without --tls.")
