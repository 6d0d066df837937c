"""The Merkle tree against published vectors, against itself and against forgers."""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chain_of_custody import merkle
from chain_of_custody.merkle import Frontier, ProofRefused

# Kept beside the project, not in it; the file names its source.
VECTORS = Path(__file__).parents[3] / "shared" / "data" / "rfc9162_vectors.json"
needs_vectors = pytest.mark.skipif(
    not VECTORS.exists(), reason="the published vectors are not beside this checkout"
)

LARGEST = 33
LEAVES = [merkle.leaf_hash(str(number).encode()) for number in range(LARGEST)]
ROOTS = [merkle.root(LEAVES[:size]) for size in range(LARGEST + 1)]
INCLUSIONS = [(index, size) for size in range(1, LARGEST + 1) for index in range(size)]
GROWTHS = [(old, size) for size in range(LARGEST + 1) for old in range(size + 1)]


@cache
def vectors() -> dict[str, Any]:
    return json.loads(VECTORS.read_text(encoding="utf-8"))


def published_leaves() -> list[bytes]:
    return [merkle.leaf_hash(bytes.fromhex(text)) for text in vectors()["leaf_inputs_hex"]]


def published_root(size: int) -> bytes:
    return bytes.fromhex(vectors()["root_by_size_hex"][size])


def published_proof(vector: dict[str, Any]) -> list[bytes]:
    return [bytes.fromhex(text) for text in vector["proof"]]


def flips(proof: list[bytes]) -> list[list[bytes]]:
    """The proof with each of its bytes changed in turn."""
    changed = []
    for place, item in enumerate(proof):
        for byte in range(len(item)):
            forged = item[:byte] + bytes([item[byte] ^ 1]) + item[byte + 1 :]
            changed.append([*proof[:place], forged, *proof[place + 1 :]])
    return changed


@needs_vectors
def test_published_hashes() -> None:
    check = {name: bytes.fromhex(text) for name, text in vectors()["hash_check"].items()}
    assert check["empty_tree"] == merkle.EMPTY_ROOT
    assert merkle.leaf_hash(b"") == check["empty_leaf"]
    assert merkle.leaf_hash(b"L123456") == check["leaf 'L123456'"]
    # The published node example hashes short children, which `node_hash` refuses.
    assert hashlib.sha256(b"\x01N123N456").digest() == check["node 'N123' 'N456'"]
    with pytest.raises(ProofRefused):
        merkle.node_hash(b"N123", b"N456")


@needs_vectors
@pytest.mark.parametrize("size", range(9))
def test_published_roots(size: int) -> None:
    leaves = published_leaves()[:size]
    assert merkle.root(leaves) == published_root(size)
    frontier = Frontier()
    for leaf in leaves:
        frontier.append(leaf)
    assert frontier.root() == published_root(size)


@needs_vectors
def test_published_inclusion_proofs() -> None:
    for vector in vectors()["inclusion"]:
        index, size = vector["leaf_index"], vector["tree_size"]
        proof, leaves = published_proof(vector), published_leaves()[:size]
        assert merkle.inclusion_proof(leaves, index) == proof
        merkle.verify_inclusion(leaves[index], index, size, proof, published_root(size))


@needs_vectors
def test_published_consistency_proofs() -> None:
    for vector in vectors()["consistency"]:
        old, size, proof = vector["size1"], vector["size2"], published_proof(vector)
        assert merkle.consistency_proof(published_leaves()[:size], old) == proof
        merkle.verify_consistency(old, size, proof, published_root(old), published_root(size))


def test_inclusion_holds_for_every_leaf_of_every_size() -> None:
    for index, size in INCLUSIONS:
        proof = merkle.inclusion_proof(LEAVES[:size], index)
        merkle.verify_inclusion(LEAVES[index], index, size, proof, ROOTS[size])


def test_consistency_holds_for_every_pair_of_sizes() -> None:
    for old, size in GROWTHS:
        proof = merkle.consistency_proof(LEAVES[:size], old)
        merkle.verify_consistency(old, size, proof, ROOTS[old], ROOTS[size])


@pytest.mark.parametrize(("index", "size"), [(0, 2), (5, 8), (2, 3), (1, 5), (6, 7), (32, 33)])
def test_inclusion_refuses_every_flipped_byte(index: int, size: int) -> None:
    proof = merkle.inclusion_proof(LEAVES[:size], index)
    assert proof
    for forged in flips(proof):
        with pytest.raises(ProofRefused, match="root: got"):
            merkle.verify_inclusion(LEAVES[index], index, size, forged, ROOTS[size])


@pytest.mark.parametrize(("old", "size"), [(1, 8), (6, 8), (2, 5), (6, 7), (4, 8), (21, 33)])
def test_consistency_refuses_every_flipped_byte(old: int, size: int) -> None:
    proof = merkle.consistency_proof(LEAVES[:size], old)
    assert proof
    for forged in flips(proof):
        with pytest.raises(ProofRefused, match="root: got"):
            merkle.verify_consistency(old, size, forged, ROOTS[old], ROOTS[size])


def test_inclusion_refuses_the_wrong_leaf_place_size_and_root() -> None:
    proof = merkle.inclusion_proof(LEAVES[:8], 5)
    for leaf, index, size, root in [
        (LEAVES[4], 5, 8, ROOTS[8]),
        (LEAVES[5], 4, 8, ROOTS[8]),
        (LEAVES[5], 5, 6, ROOTS[8]),
        (LEAVES[5], 5, 8, ROOTS[7]),
        (LEAVES[5], 8, 8, ROOTS[8]),
        (LEAVES[5], -1, 8, ROOTS[8]),
    ]:
        with pytest.raises(ProofRefused, match=r"got .*want"):
            merkle.verify_inclusion(leaf, index, size, proof, root)


def test_consistency_refuses_the_wrong_roots_and_sizes() -> None:
    proof = merkle.consistency_proof(LEAVES[:8], 6)
    for old, size, old_root, root in [
        (6, 8, ROOTS[5], ROOTS[8]),
        (6, 8, ROOTS[6], ROOTS[7]),
        (6, 8, ROOTS[8], ROOTS[6]),
        (5, 8, ROOTS[6], ROOTS[8]),
        (8, 6, ROOTS[8], ROOTS[6]),
        (-1, 8, ROOTS[6], ROOTS[8]),
    ]:
        with pytest.raises(ProofRefused, match=r"got .*want"):
            merkle.verify_consistency(old, size, proof, old_root, root)


def test_equal_and_empty_trees_are_compared_by_their_roots() -> None:
    for old, size, old_root, root in [
        (5, 5, ROOTS[5], ROOTS[6]),
        (0, 5, ROOTS[1], ROOTS[5]),
        (0, 0, ROOTS[0], ROOTS[1]),
    ]:
        with pytest.raises(ProofRefused, match="root: got"):
            merkle.verify_consistency(old, size, [], old_root, root)


@pytest.mark.parametrize(("index", "size"), [(0, 1), (5, 8), (32, 33)])
def test_inclusion_refuses_a_proof_too_short_or_too_long(index: int, size: int) -> None:
    proof = merkle.inclusion_proof(LEAVES[:size], index)
    for forged in [[*proof, LEAVES[0]], [LEAVES[0], *proof], *([proof[:-1]] if proof else [])]:
        with pytest.raises(ProofRefused, match=f"got {len(forged)} hashes, want {len(proof)}"):
            merkle.verify_inclusion(LEAVES[index], index, size, forged, ROOTS[size])


@pytest.mark.parametrize(("old", "size"), [(0, 5), (5, 5), (4, 8), (6, 8), (21, 33)])
def test_consistency_refuses_a_proof_too_short_or_too_long(old: int, size: int) -> None:
    proof = merkle.consistency_proof(LEAVES[:size], old)
    for forged in [[*proof, LEAVES[0]], [LEAVES[0], *proof], *([proof[:-1]] if proof else [])]:
        with pytest.raises(ProofRefused, match=f"got {len(forged)} hashes, want {len(proof)}"):
            merkle.verify_consistency(old, size, forged, ROOTS[old], ROOTS[size])


@pytest.mark.parametrize("bad", [b"", b"x" * 31, b"x" * 33, b"x" * 64, "x" * 32, None])
def test_what_is_no_hash_is_refused_everywhere(bad: Any) -> None:
    proof, growth = merkle.inclusion_proof(LEAVES[:8], 5), merkle.consistency_proof(LEAVES[:8], 6)
    calls = [
        lambda: merkle.node_hash(bad, LEAVES[0]),
        lambda: merkle.node_hash(LEAVES[0], bad),
        lambda: merkle.root([bad]),
        lambda: merkle.inclusion_proof([LEAVES[0], bad], 0),
        lambda: merkle.consistency_proof([LEAVES[0], bad], 2),
        lambda: merkle.verify_inclusion(bad, 5, 8, proof, ROOTS[8]),
        lambda: merkle.verify_inclusion(LEAVES[5], 5, 8, [bad, *proof[1:]], ROOTS[8]),
        lambda: merkle.verify_inclusion(LEAVES[5], 5, 8, proof, bad),
        lambda: merkle.verify_consistency(6, 8, [bad, *growth[1:]], ROOTS[6], ROOTS[8]),
        lambda: merkle.verify_consistency(6, 8, growth, bad, ROOTS[8]),
        lambda: merkle.verify_consistency(6, 8, growth, ROOTS[6], bad),
        lambda: Frontier().append(bad),
        lambda: Frontier(1, [bad]),
    ]
    for call in calls:
        with pytest.raises(ProofRefused, match="want 32"):
            call()


def test_bytes_moved_between_neighbours_of_a_proof_are_refused() -> None:
    # Joined, these hashes are the same bytes as the true proof: only their lengths betray them.
    proof = merkle.inclusion_proof(LEAVES[:8], 5)
    shifted = [proof[0] + proof[1][:1], proof[1][1:], *proof[2:]]
    with pytest.raises(ProofRefused, match="proof hash 0: got 33 bytes, want 32"):
        merkle.verify_inclusion(LEAVES[5], 5, 8, shifted, ROOTS[8])


@pytest.mark.parametrize("index", [-1, 3])
def test_there_is_no_proof_for_a_leaf_outside_the_tree(index: int) -> None:
    with pytest.raises(ProofRefused, match="leaf index"):
        merkle.inclusion_proof(LEAVES[:3], index)


@pytest.mark.parametrize("old", [-1, 4])
def test_there_is_no_growth_from_a_larger_tree(old: int) -> None:
    with pytest.raises(ProofRefused, match="old tree size"):
        merkle.consistency_proof(LEAVES[:3], old)


@given(st.lists(st.binary(max_size=8), max_size=200))
def test_the_frontier_agrees_with_the_whole_tree(data: list[bytes]) -> None:
    leaves = [merkle.leaf_hash(item) for item in data]
    frontier = Frontier()
    for leaf in leaves:
        frontier.append(leaf)
    assert frontier.root() == merkle.root(leaves)
    assert frontier.size == len(leaves)
    assert len(frontier.hashes) == len(leaves).bit_count()


@given(st.integers(0, LARGEST), st.integers(0, LARGEST))
def test_a_frontier_goes_on_after_it_was_written_down(first: int, last: int) -> None:
    first, last = sorted((first, last))
    frontier = Frontier()
    for leaf in LEAVES[:first]:
        frontier.append(leaf)
    again = Frontier.from_hex(frontier.size, json.loads(json.dumps(frontier.to_hex())))
    assert again.hashes == frontier.hashes
    for leaf in LEAVES[first:last]:
        again.append(leaf)
    assert again.root() == ROOTS[last]


@pytest.mark.parametrize(
    ("size", "hashes", "says"),
    [
        (2, [], "got 0 hashes, want 1"),
        (2, ["00" * 32] * 2, "got 2 hashes, want 1"),
        (-1, ["00" * 32], "got -1, want 0 or more"),
        (1, ["00" * 31], "got 31 bytes, want 32"),
        (1, ["zz" * 32], "not hexadecimal"),
    ],
)
def test_a_frontier_that_cannot_be_is_refused(size: int, hashes: list[str], says: str) -> None:
    with pytest.raises(ProofRefused, match=says):
        Frontier.from_hex(size, hashes)
