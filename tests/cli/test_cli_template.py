"""The command `template` on the sample: what it writes, says, and refuses."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"
runner = CliRunner()


def test_it_writes_what_is_asked_for(tmp_path: Path):
    target = tmp_path / "board.dxf"
    result = runner.invoke(app, ["template", str(COUPON), "-o", str(target)])
    assert result.exit_code == 0, result.output
    assert str(target) in result.stdout and "100 %" in result.stdout
    assert target.read_text().startswith("  0\nSECTION")


def test_json_names_all_pages(tmp_path: Path):
    result = runner.invoke(
        app, ["template", str(COUPON), "-o", str(tmp_path / "b.svg"), "--tile", "a4", "--json"]
    )
    names = [Path(name).name for name in json.loads(result.stdout)["files"]]
    assert names == ["b.svg", "b-page-01.svg"]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["-o", "{}/board.pdf"], ".dxf or .svg"),
        (["-o", "{}/form.dxf", "--form"], "layup.rocker"),
        (["-o", "{}/both.dxf", "--form", "--flat"], "different drawings"),
        (["-o", "{}/none/board.dxf"], "cannot write"),
    ],
)
def test_wrong_wishes_end_with_2_and_write_nothing(tmp_path: Path, words: list[str], message: str):
    result = runner.invoke(
        app, ["template", str(COUPON), *(word.format(tmp_path) for word in words)]
    )
    assert result.exit_code == 2
    assert message in result.stderr
    assert list(tmp_path.iterdir()) == []
