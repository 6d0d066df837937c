"""Asking a controller over Modbus TCP; pymodbus speaks the protocol. No database in here."""

from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException

from retort_log.modbus.near import FarAddress, near_address
from retort_log.modbus.registers import Block, RegisterChannel, questions, values_of

# A controller on the house's own network answers in milliseconds; a lost one is known after this.
TIMEOUT_S = 1.0
RETRIES = 0


class NoAnswer(Exception):
    """The controller gave no whole answer; the message says how far it came."""


class Lost(NoAnswer):
    """There is no connection to the controller, or there is none any more."""


@dataclass(frozen=True)
class Tried:
    """What one channel answered when it was tried: its registers as they came, or the trouble."""

    channel: RegisterChannel
    registers: tuple[int, ...] = ()
    trouble: str = ""

    @property
    def tenths(self) -> int | None:
        """The value in tenths of its unit; None for no value."""
        return self.channel.tenths(self.registers) if self.registers else None


class Asker:
    """One connection to one controller. It is opened again by itself after it was lost.

    Where the controller stands is looked up and checked each time it is opened.
    """

    def __init__(
        self, host: str, port: int, device_id: int, channels: Sequence[RegisterChannel]
    ) -> None:
        self.device_id, self.channels = device_id, tuple(channels)
        self.blocks = questions(self.channels)
        self.host, self.port = host, port
        self._client: ModbusTcpClient | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the connection."""
        if self._client is not None:
            self._client.close()

    def ask(self) -> dict[str, int | None]:
        """Return tenths by "channel unit", None for no value. Raises NoAnswer.

        All questions are answered, or none counts: values of one moment stay together.
        """
        try:
            client = self._connected()
            answers = {block: self._answer(client, block) for block in self.blocks}
        except (ModbusException, OSError) as error:
            self.close()
            raise Lost("The connection to the controller was lost.") from error
        return values_of(self.channels, answers)

    def try_out(self) -> list[Tried]:
        """Ask each channel on its own, and return what came, or why nothing did. Raises Lost."""
        found = []
        try:
            client = self._connected()
            for channel in self.channels:
                block = Block(channel.kind, channel.register, channel.count)
                try:
                    found.append(Tried(channel, tuple(self._answer(client, block))))
                except NoAnswer as refusal:
                    found.append(Tried(channel, trouble=str(refusal)))
        except (ModbusException, OSError) as error:
            self.close()
            raise Lost("The connection to the controller was lost.") from error
        return found

    def _connected(self) -> ModbusTcpClient:
        """Return the open connection. Raises Lost."""
        if self._client is None or not self._client.connected:
            try:
                address = near_address(self.host, self.port)
            except FarAddress as far:
                raise Lost(str(far)) from far
            self._client = ModbusTcpClient(
                address, port=self.port, timeout=TIMEOUT_S, retries=RETRIES
            )
            if not self._client.connect():
                raise Lost("The controller cannot be reached.")
        return self._client

    def _answer(self, client: ModbusTcpClient, block: Block) -> list[int]:
        read = (
            client.read_holding_registers
            if block.kind == "holding"
            else client.read_input_registers
        )
        answer = read(block.start, count=block.count, device_id=self.device_id)
        if answer.isError():
            last = block.start + block.count - 1
            which = f"registers {block.start} to {last}" if block.count > 1 else f"register {last}"
            raise NoAnswer(
                f"The controller refuses {which}. Check the register numbers and their kind."
            )
        registers = list(answer.registers)
        if len(registers) < block.count:
            raise NoAnswer("The controller answered with too few registers.")
        return registers
