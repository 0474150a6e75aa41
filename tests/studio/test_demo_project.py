"""The demo project: everything the pages need is there at once."""

from pathlib import Path

import pytest

from limewash.errors import InputError
from limewash.progress import silent
from limewash.studio.demo_project import make_demo_project
from limewash.studio.desk import Desk
from limewash.studio.recent import Recent
from limewash.studio.routes.site import site_report
from limewash.studio.work import make_map, make_packet


@pytest.mark.slow
def test_every_stage_of_the_demo_project_can_be_used(tmp_path: Path) -> None:
    root = tmp_path / "Limewash" / "demo"
    shares: list[float] = []
    make_demo_project(root, "painted", lambda share, _: shares.append(share), size=(640, 360))
    assert shares == sorted(shares)
    assert [path.name for path in root.parent.iterdir()] == ["demo"], "nothing half-made is left beside it"
    desk = Desk(Recent(tmp_path / "recent.json"))
    desk.open(root)
    try:
        assert site_report(desk.project.house, ["front"]).figures
        assert set(desk.ground.photos()) == {"photo", "daylight"}
        preview = desk.tracing.preview()
        assert len(preview.paths) == len(desk.tracing.tracing.items) > 15
        assert make_map(silent, project=str(root))["paths"]
        assert make_packet(silent, project=str(root), out=str(root / "packet.zip"))["bytes"] > 10_000
    finally:
        desk.close()
    with pytest.raises(InputError, match="exists already"):
        make_demo_project(root, "painted", silent)
