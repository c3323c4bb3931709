"""The time of a job in words: phase by phase, in all, and beside what like jobs of the shop took."""

from app.shop.queries.hours import JobTime, LikeJobs, PhaseTime
from app.sync.engine.units import MINUTE
from app.wording.message import Message, say
from app.wording.quantities import listed
from app.wording.work.phases import phase_title

HOURS = Message("{hours}\u00a0h\u00a0{minutes:02d}\u00a0min")
MINUTES = Message("{minutes}\u00a0min")
OF_PHASE = Message("{phase} {time}")
CORRECTED = Message("{phase} {time} (corrected by {by})")
IN_ALL = Message("{phases}. In all {total}.")
NO_TIME = Message("No time is on record.")
LIKE = Message("{count} jobs here on engines of this layout took {least} to {most}, half of them up to {median}.")
FIRST_OF_ITS_KIND = Message("No other job here on an engine of this layout to compare with.")
TOO_FEW = Message(
    "{count} other job here on an engine of this layout: too few to say what one takes.",
    many="{count} other jobs here on engines of this layout: too few to say what one takes.",
)


def duration(seconds: float) -> str:
    """A time to the minute.

    >>> duration(5 * 60), duration(3600 + 5 * 60)
    ('5\\xa0min', '1\\xa0h\\xa005\\xa0min')
    """
    hours, minutes = divmod(round(seconds / MINUTE), 60)
    return say(HOURS, hours=hours, minutes=minutes) if hours else say(MINUTES, minutes=minutes)


def job_time(job: JobTime) -> str:
    """The phases and what they come to."""
    if not job.phases:
        return say(NO_TIME)
    return say(IN_ALL, phases=listed([_of_phase(one) for one in job.phases]), total=duration(job.total))


def _of_phase(one: PhaseTime) -> str:
    values = {"phase": phase_title(one.phase), "time": duration(one.spent)}
    return say(OF_PHASE, **values) if one.correction is None else say(CORRECTED, **values, by=one.correction.by)


def like_jobs(like: LikeJobs) -> str:
    """What like jobs took, or that there are too few of them to say."""
    if like.median is None or like.least is None or like.most is None:
        return say(TOO_FEW, count=like.count) if like.count else say(FIRST_OF_ITS_KIND)
    least, most, half = (duration(one) for one in (like.least, like.most, like.median))
    return say(LIKE, count=like.count, least=least, most=most, median=half)
