"""Every kind of source by its name."""

from collections.abc import Callable, Mapping

from app.live.sources import can_bus, modbus, obd, simulated, text_lines
from app.live.sources.source import Reader, Settings

Read = Callable[[Settings, Reader], None]

READ: Mapping[str, Read] = {
    "serial": text_lines.serial_port,
    "udp": text_lines.datagrams,
    "csv": text_lines.growing_table,
    "modbus": modbus.registers,
    "can": can_bus.signals,
    "obd-serial": obd.diagnostics,
    "simulated": simulated.instrument,
}
"""How each of ``channels.KINDS`` is read."""
