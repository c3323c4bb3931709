"""One module a kind of adjuster, and the registry that finds a kind by its slug; everything else looks it up here.

A further kind derives from ``ScrewWithGain`` and is given to ``register``; a layout names its screws under ``extra``.
Its words and its drawing are registered by the same slug, in ``app.wording.work.adjusters`` and in
``app.web.presenters.adjusters``.
"""

from app.sync.engine.adjusters.bypass_screw import BypassScrewKind
from app.sync.engine.adjusters.couplers import CouplerScrewKind, FeelerCouplerKind
from app.sync.engine.adjusters.link_rod import LinkRodKind
from app.sync.engine.adjusters.registry import register
from app.sync.engine.adjusters.stop_screw import StopScrewKind

for _kind in (StopScrewKind(), FeelerCouplerKind(), CouplerScrewKind(), LinkRodKind(), BypassScrewKind()):
    register(_kind)
