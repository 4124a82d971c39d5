"""The picture of a forecast says what it shows, in which units."""

from pathlib import Path

from matchvision.forecast import predict_run
from matchvision.report.forecastpicture import draw_forecast, figure_of_forecast
from tests.forecast.test_predicting import STARTS, run_of, sheet


def test_picture_names_units_and_limits(tmp_path: Path) -> None:
    run = run_of(sheet())
    forecast, _ = predict_run(run, STARTS, samples=16)
    paths = draw_forecast(run, forecast, tmp_path / "new")
    text = paths[0].read_text(encoding="utf-8")
    for words in ("pull / N", "speed / mm/s", "match time / s", "95 % bands", "heron", "plover", "What limits each"):
        assert words in text
    assert paths[1].stat().st_size > 10_000
    strips = figure_of_forecast(run, forecast).axes[2]
    assert [label.get_text() for label in strips.get_yticklabels()] == ["plover", "heron"]
