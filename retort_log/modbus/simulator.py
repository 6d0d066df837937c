"""A controller that is none: a two-chamber machine in a few lines, for the demo and the tests.

It answers over Modbus TCP on this computer alone. Its temperatures are invented, and run faster
than any machine does, so that a whole run can be shown in minutes.
"""

import asyncio
import math
import threading
from collections.abc import Callable
from dataclasses import dataclass

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from retort_log.run_life import Phase

HOST = "127.0.0.1"
DEVICE = 1
WRITE_REGISTERS = 16  # the function of the protocol that writes holding registers
REGISTERS = 16
SECOND_S = 1.0

# What each chamber tends to in each phase, °C, and how fast: invented.
GOALS: dict[Phase, tuple[float, float]] = {
    Phase.CLEAR: (60.0, 120.0),
    Phase.PREHEATING: (640.0, 940.0),
    Phase.BURNING: (930.0, 960.0),
    Phase.INTERRUPTED: (300.0, 400.0),
    Phase.FAULT_ENDED: (200.0, 250.0),
    Phase.COOLING: (40.0, 90.0),
}
TIME_CONSTANT_S = 45.0


@dataclass
class Chambers:
    """Both chambers, in °C; `step` lets time pass."""

    primary_c: float = 60.0
    secondary_c: float = 120.0
    seconds: float = 0.0

    def step(self, phase: Phase, dt_s: float, dip_c: float = 0.0) -> None:
        """Let the chambers follow their phase for `dt_s` seconds; `dip_c` cools the secondary."""
        first, second = GOALS[phase]
        share = 1 - math.exp(-dt_s / TIME_CONSTANT_S)
        self.seconds += dt_s
        ripple = 4 * math.sin(self.seconds / 7)
        self.primary_c += (first - self.primary_c) * share + ripple * share
        self.secondary_c += (second - dip_c - self.secondary_c) * share + ripple * share

    def registers(self) -> list[int]:
        """Both temperatures in tenths of °C, as holding registers 0 and 1."""
        return [round(self.primary_c * 10) & 0xFFFF, round(self.secondary_c * 10) & 0xFFFF]


CHANNELS = [
    {"name": name, "unit": "degC", "register": n, "type": "int16", "scale": "0.1"}
    for n, name in enumerate(("primary", "secondary"))
]


class Simulator:
    """Serves one machine on loopback until it is closed. `phase` says what the machine does.

    Port 0 takes any free port; `port` says which once it serves.
    """

    def __init__(
        self, phase: Callable[[], Phase], port: int = 0, dip_c: Callable[[], float] = lambda: 0.0
    ) -> None:
        self.chambers, self.port = Chambers(), port
        self._phase, self._dip_c = phase, dip_c
        self._ready, self._end = threading.Event(), threading.Event()
        self._thread = threading.Thread(
            target=self._serve, name="simulated controller", daemon=True
        )

    def start(self) -> None:
        """Serve in a thread of its own; returns once it answers. Raises OSError if it cannot."""
        self._thread.start()
        if not self._ready.wait(10):
            raise OSError("The simulated controller did not start.")

    def close(self) -> None:
        """Stop serving: questions get no answer from now on."""
        self._end.set()
        self._thread.join(10)

    def _serve(self) -> None:
        asyncio.run(self._run())

    async def _run(self) -> None:
        registers = SimData(0, values=[0] * REGISTERS, datatype=DataType.REGISTERS)
        server = ModbusTcpServer(SimDevice(DEVICE, [registers]), address=(HOST, self.port))
        await server.serve_forever(background=True)
        assert server.transport is not None
        sockets = server.transport.sockets  # type: ignore[attr-defined]  # it is the one that listens
        self.port = sockets[0].getsockname()[1]
        await self._write(server)
        self._ready.set()
        while not self._end.is_set():
            await asyncio.sleep(SECOND_S / 4)
            self.chambers.step(self._phase(), SECOND_S / 4, self._dip_c())
            await self._write(server)
        await server.shutdown()

    async def _write(self, server: ModbusTcpServer) -> None:
        await server.async_setValues(DEVICE, WRITE_REGISTERS, 0, self.chambers.registers())
