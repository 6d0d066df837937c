"""The Merkle tree of RFC 9162, section 2.1: roots, proofs and their verification. Pure.

Hashes are SHA-256, 32 bytes; each is checked for that before anything is reckoned, since a
verifier that skips the check can be led to accept a false proof.
"""

import hashlib
from collections.abc import Iterable, Sequence

HASH_BYTES = 32
EMPTY_ROOT = hashlib.sha256(b"").digest()

_LEAF_PREFIX, _NODE_PREFIX = b"\x00", b"\x01"


class ProofRefused(ValueError):
    """A proof, or a hash or size in it, does not hold; the message says what it got and wants."""


def leaf_hash(data: bytes) -> bytes:
    """Hash of one leaf; its prefix keeps a leaf from passing as an inner node."""
    return hashlib.sha256(_LEAF_PREFIX + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of an inner node over its two children."""
    _check_hash(left, "left child")
    _check_hash(right, "right child")
    return _node_hash(left, right)


def root(leaf_hashes: Sequence[bytes]) -> bytes:
    """Root of the tree over these leaf hashes; the empty tree's root is SHA-256 of nothing."""
    _check_hashes(leaf_hashes, "leaf")
    return _root(leaf_hashes)


def inclusion_proof(leaf_hashes: Sequence[bytes], index: int) -> list[bytes]:
    """Hashes that lead from a leaf to the root, from its sibling upward (section 2.1.3.1)."""
    _check_hashes(leaf_hashes, "leaf")
    _check_index(index, len(leaf_hashes))
    return _inclusion(leaf_hashes, index)


def verify_inclusion(
    leaf: bytes, index: int, size: int, proof: Sequence[bytes], expected_root: bytes
) -> None:
    """Raise ProofRefused unless the leaf hash stands at `index` in the tree of this root.

    Size and root must come from one checkpoint: a proof binds the leaf to the root, and cannot
    tell two sizes apart in which the leaf's path turns alike.
    """
    _check_hash(leaf, "leaf")
    _check_hash(expected_root, "root")
    _check_hashes(proof, "proof")
    _check_index(index, size)
    _check_length(proof, _inclusion_length(index, size))
    result, place, last = leaf, index, size - 1
    for sibling in proof:
        if place % 2 or place == last:
            result = node_hash(sibling, result)
            place, last = _climb_to_left_child(place, last)
        else:
            result = node_hash(result, sibling)
        place, last = place >> 1, last >> 1
    _check_root(result, expected_root, "root")


def consistency_proof(leaf_hashes: Sequence[bytes], old_size: int) -> list[bytes]:
    """Hashes showing that the first `old_size` leaves are still there (section 2.1.4.1).

    From the empty tree and for two equal trees the proof is empty.
    """
    _check_hashes(leaf_hashes, "leaf")
    _check_sizes(old_size, len(leaf_hashes))
    if old_size in (0, len(leaf_hashes)):
        return []
    return _consistency(leaf_hashes, old_size, whole=True)


def verify_consistency(
    old_size: int, size: int, proof: Sequence[bytes], old_root: bytes, new_root: bytes
) -> None:
    """Raise ProofRefused unless the tree of `new_root` only adds to the tree of `old_root`.

    RFC 9162 leaves the empty tree out; every tree adds to it, by an empty proof.
    """
    _check_hash(old_root, "old root")
    _check_hash(new_root, "new root")
    _check_hashes(proof, "proof")
    _check_sizes(old_size, size)
    _check_length(proof, _consistency_length(old_size, size))
    if old_size == 0:
        _check_root(old_root, EMPTY_ROOT, "old root")
    elif old_size == size:
        _check_root(new_root, old_root, "new root")
    else:
        _verify_growth(old_size, size, proof, old_root, new_root)
    if size == 0:
        _check_root(new_root, EMPTY_ROOT, "new root")


class Frontier:
    """The roots of the full subtrees of a growing tree: enough to append and to know the root.

    Holds as many hashes as the size has binary ones, the largest subtree first.
    """

    def __init__(self, size: int = 0, hashes: Iterable[bytes] = ()) -> None:
        """Raise ProofRefused when the hashes cannot belong to a tree of this size."""
        self._hashes = list(hashes)
        if size < 0:
            raise ProofRefused(f"tree size: got {size}, want 0 or more")
        _check_hashes(self._hashes, "frontier")
        if len(self._hashes) != size.bit_count():
            raise ProofRefused(
                f"frontier of size {size}: got {len(self._hashes)} hashes, want {size.bit_count()}"
            )
        self._size = size

    @classmethod
    def from_hex(cls, size: int, hashes: Iterable[str]) -> "Frontier":
        """Read what `to_hex` wrote; raises ProofRefused for text that is no hash."""
        try:
            return cls(size, [bytes.fromhex(text) for text in hashes])
        except ProofRefused:
            raise
        except ValueError as error:
            raise ProofRefused(f"frontier: got text that is not hexadecimal ({error})") from error

    @property
    def size(self) -> int:
        """Number of leaves."""
        return self._size

    @property
    def hashes(self) -> tuple[bytes, ...]:
        """The subtrees' roots, the largest subtree first."""
        return tuple(self._hashes)

    def to_hex(self) -> list[str]:
        """The hashes as text; the size is kept beside them."""
        return [item.hex() for item in self._hashes]

    def append(self, leaf: bytes) -> None:
        """Add one leaf hash; at most one merge a level."""
        _check_hash(leaf, "leaf")
        merged = leaf
        full = self._size
        while full % 2:
            merged = _node_hash(self._hashes.pop(), merged)
            full >>= 1
        self._hashes.append(merged)
        self._size += 1

    def root(self) -> bytes:
        """Root of the tree over all leaves so far."""
        if not self._hashes:
            return EMPTY_ROOT
        result = self._hashes[-1]
        for left in reversed(self._hashes[:-1]):
            result = node_hash(left, result)
        return result


def _node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of an inner node over children that were checked when they came in."""
    return hashlib.sha256(_NODE_PREFIX + left + right).digest()


def _split(size: int) -> int:
    """Largest power of two smaller than `size` (size 2 or more)."""
    return 1 << ((size - 1).bit_length() - 1)


def _root(hashes: Sequence[bytes]) -> bytes:
    if not hashes:
        return EMPTY_ROOT
    if len(hashes) == 1:
        return hashes[0]
    middle = _split(len(hashes))
    return node_hash(_root(hashes[:middle]), _root(hashes[middle:]))


def _inclusion(hashes: Sequence[bytes], index: int) -> list[bytes]:
    if len(hashes) == 1:
        return []
    middle = _split(len(hashes))
    if index < middle:
        return [*_inclusion(hashes[:middle], index), _root(hashes[middle:])]
    return [*_inclusion(hashes[middle:], index - middle), _root(hashes[:middle])]


def _consistency(hashes: Sequence[bytes], old_size: int, *, whole: bool) -> list[bytes]:
    """SUBPROOF of section 2.1.4.1; `whole` while the old tree's own root is still at hand."""
    if old_size == len(hashes):
        return [] if whole else [_root(hashes)]
    middle = _split(len(hashes))
    if old_size <= middle:
        return [*_consistency(hashes[:middle], old_size, whole=whole), _root(hashes[middle:])]
    right = _consistency(hashes[middle:], old_size - middle, whole=False)
    return [*right, _root(hashes[:middle])]


def _climb_to_left_child(place: int, last: int) -> tuple[int, int]:
    """Skip the levels on which a node at the right edge has no sibling."""
    while place and not place % 2:
        place, last = place >> 1, last >> 1
    return place, last


def _verify_growth(
    old_size: int, size: int, proof: Sequence[bytes], old_root: bytes, new_root: bytes
) -> None:
    """The loop of section 2.1.4.2, for 0 < old_size < size and a proof of the right length."""
    # A full old tree is itself a node of the new one, and its root is left out of the proof.
    path = [old_root, *proof] if old_size.bit_count() == 1 else list(proof)
    place, last = old_size - 1, size - 1
    while place % 2:
        place, last = place >> 1, last >> 1
    old = new = path[0]
    for sibling in path[1:]:
        if place % 2 or place == last:
            old, new = node_hash(sibling, old), node_hash(sibling, new)
            place, last = _climb_to_left_child(place, last)
        else:
            new = node_hash(new, sibling)
        place, last = place >> 1, last >> 1
    _check_root(old, old_root, "old root")
    _check_root(new, new_root, "new root")


def _inclusion_length(index: int, size: int) -> int:
    """Levels below the point where the paths to the leaf and to the last leaf meet, and then
    one hash for each left turn above it."""
    below = (index ^ (size - 1)).bit_length()
    return below + (index >> below).bit_count()


def _consistency_length(old_size: int, size: int) -> int:
    if old_size in (0, size):
        return 0
    # The last full subtree of the old tree takes the leaf's part, at the level of its root.
    level = (old_size & -old_size).bit_length() - 1
    path = _inclusion_length((old_size - 1) >> level, ((size - 1) >> level) + 1)
    return path + (old_size.bit_count() > 1)


def _check_hash(value: bytes, what: str) -> None:
    if not isinstance(value, bytes):
        raise ProofRefused(f"{what}: got {type(value).__name__}, want {HASH_BYTES} bytes")
    if len(value) != HASH_BYTES:
        raise ProofRefused(f"{what}: got {len(value)} bytes, want {HASH_BYTES}")


def _check_hashes(values: Sequence[bytes], what: str) -> None:
    for place, value in enumerate(values):
        _check_hash(value, f"{what} hash {place}")


def _check_index(index: int, size: int) -> None:
    if not 0 <= index < size:
        raise ProofRefused(f"leaf index: got {index}, want 0 to {size - 1} in a tree of {size}")


def _check_sizes(old_size: int, size: int) -> None:
    if not 0 <= old_size <= size:
        raise ProofRefused(f"old tree size: got {old_size}, want 0 to {size}")


def _check_length(proof: Sequence[bytes], want: int) -> None:
    if len(proof) != want:
        raise ProofRefused(f"proof length: got {len(proof)} hashes, want {want}")


def _check_root(got: bytes, want: bytes, what: str) -> None:
    if got != want:
        raise ProofRefused(f"{what}: got {got.hex()}, want {want.hex()}")
