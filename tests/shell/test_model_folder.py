"""What is wrong with a model folder is said before it is loaded."""

import shutil
from pathlib import Path
from random import Random

import pytest

from handsfree.language.grammar import essential_words
from handsfree.shell.model_folder import ModelUnusable, check_model, shipped_model


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the shipped model that may be damaged."""
    return Path(shutil.copytree(shipped_model(), tmp_path / shipped_model().name))


def test_the_shipped_model_is_whole() -> None:
    check_model(shipped_model(), essential_words())


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(ModelUnusable, match=r"no speech model folder at .*nowhere"):
        check_model(tmp_path / "nowhere", ())


def test_a_missing_file_is_named(copy: Path) -> None:
    (copy / "am/final.mdl").unlink()
    with pytest.raises(ModelUnusable, match=r"am/final.mdl is missing"):
        check_model(copy, ())


def test_one_flipped_byte_in_any_file_is_refused(copy: Path) -> None:
    pick = Random(3)
    for name in ("am/final.mdl", "graph/HCLr.fst", "graph/words.txt", "conf/model.conf"):
        path = copy / name
        whole = path.read_bytes()
        damaged = bytearray(whole)
        damaged[pick.randrange(len(whole))] ^= 1 << pick.randrange(8)
        path.write_bytes(damaged)
        with pytest.raises(ModelUnusable, match=f"{name} has changed"):
            check_model(copy, ())
        path.write_bytes(whole)
    check_model(copy, ())


def test_a_lost_list_of_checksums_is_noticed(copy: Path) -> None:
    (copy / "SHA256SUMS").unlink()
    with pytest.raises(ModelUnusable, match="lost its list of checksums"):
        check_model(copy, ())


def test_a_model_without_a_run_time_graph_is_refused(copy: Path) -> None:
    other = copy.rename(copy.with_name("somebody-elses"))
    (other / "SHA256SUMS").unlink()
    (other / "graph/HCLr.fst").unlink()
    with pytest.raises(ModelUnusable, match="takes no word list at run time"):
        check_model(other, ())


def test_missing_words_are_named(copy: Path) -> None:
    with pytest.raises(ModelUnusable, match=r"lacks 1 of the words .*: xylotomy"):
        check_model(copy, ["resin", "xylotomy"])
