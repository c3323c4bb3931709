"""Signals on a CAN bus, by the shop's own DBC file.

[source.ecu]
kind = "can"
interface = "socketcan"
channel = "can0"
dbc = "engine.dbc"
[source.ecu.signals]
speed = "EngineSpeed"          # channel = signal of the file
"""

from app.live.sources.source import MissingExtraError, Reader, Settings, SourceError, text_of

WAIT = 0.2


def signals(settings: Settings, reader: Reader) -> None:
    """Decode the frames that carry a wanted signal, until it is to stop.

    Raises SourceError, MissingExtraError and OSError.
    """
    try:
        import can
        import cantools
    except ImportError:
        raise MissingExtraError("live-can") from None
    wanted = settings.get("signals")
    if not isinstance(wanted, dict) or not wanted:
        raise SourceError("signals")
    by_signal = {str(signal): name for name, signal in wanted.items()}
    database = cantools.database.load_file(text_of(settings, "dbc"))
    if not isinstance(database, cantools.database.can.Database):
        raise SourceError("dbc")
    carriers = {m.frame_id: m for m in database.messages if any(one.name in by_signal for one in m.signals)}
    known = {one.name for message in carriers.values() for one in message.signals}
    if missing := sorted(by_signal.keys() - known):
        raise SourceError(f"signals: {', '.join(missing)}")
    interface, channel = text_of(settings, "interface"), text_of(settings, "channel")
    try:
        with can.Bus(interface=interface, channel=channel) as bus:
            while not reader.stopped.is_set():
                frame = bus.recv(WAIT)
                message = carriers.get(frame.arbitration_id) if frame is not None else None
                if frame is None or message is None:
                    continue
                raw = f"{frame.arbitration_id:X} {bytes(frame.data).hex(' ')}"
                if len(frame.data) < message.length or frame.is_error_frame:
                    reader.take(None, raw)
                    continue
                told = message.decode(bytes(frame.data), decode_choices=False)
                assert isinstance(told, dict)
                found = {by_signal[key]: float(told[key]) for key in told if key in by_signal}
                reader.take(found, raw)
    except can.CanError as error:
        raise ConnectionError(str(error)) from error
