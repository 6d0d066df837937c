"""Asking a controller over Modbus TCP; pymodbus speaks the protocol. No database in here."""

from collections.abc import Sequence
from types import TracebackType
from typing import Self

from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException

from retort_log.modbus.registers import Block, RegisterChannel, questions, values_of

# A controller on the house's own network answers in milliseconds; a lost one is known after this.
TIMEOUT_S = 1.0
RETRIES = 0


class NoAnswer(Exception):
    """The controller gave no whole answer; the message says how far it came."""


class Asker:
    """One connection to one controller. It is opened again by itself after it was lost."""

    def __init__(
        self, host: str, port: int, device_id: int, channels: Sequence[RegisterChannel]
    ) -> None:
        self.device_id, self.channels = device_id, tuple(channels)
        self.blocks = questions(self.channels)
        self._client = ModbusTcpClient(host, port=port, timeout=TIMEOUT_S, retries=RETRIES)

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
        self._client.close()

    def ask(self) -> dict[str, int | None]:
        """Return tenths by "channel unit", None for no value. Raises NoAnswer.

        All questions are answered, or none counts: values of one moment stay together.
        """
        try:
            if not self._client.connected and not self._client.connect():
                raise NoAnswer("The controller cannot be reached.")
            answers = {block: self._answer(block) for block in self.blocks}
        except (ModbusException, OSError) as error:
            self.close()
            raise NoAnswer("The connection to the controller was lost.") from error
        return values_of(self.channels, answers)

    def _answer(self, block: Block) -> list[int]:
        read = (
            self._client.read_holding_registers
            if block.kind == "holding"
            else self._client.read_input_registers
        )
        answer = read(block.start, count=block.count, device_id=self.device_id)
        if answer.isError():
            raise NoAnswer(
                f"The controller refuses registers {block.start} to "
                f"{block.start + block.count - 1}. Check the register numbers and their kind."
            )
        registers = list(answer.registers)
        if len(registers) < block.count:
            raise NoAnswer("The controller answered with too few registers.")
        return registers
