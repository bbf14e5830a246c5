"""Set-up on the whole demo catalogue: every spring gives an answer in the published shape, or says why not."""

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fit
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.setup.views import SETUP
from app.web.representation.spring_curve_svg import spring_curve


def one_fit_a_spring(snapshot: Snapshot) -> list[Fit]:
    return list({(fit.chassis, fit.spring): fit for fit in snapshot.all(Fit)}.values())


def test_every_spring_of_the_demo_gives_a_start_or_says_what_is_missing(loaded: Catalogue) -> None:
    found: set[str] = set()
    with loaded.snapshot() as snapshot:
        for fit in one_fit_a_spring(snapshot):
            asked = SetupAsked(travel=f"{fit.travel_mm:g}", spring=fit.spring, rider_mass="80", altitude="1500")
            answer = setup(snapshot, fit.chassis, asked)
            SETUP.validate_json(SETUP.dump_json(answer, warnings="error"))
            spring_curve(answer)
            started = "start_pressure" in answer or "coil" in answer
            assert started or answer["gaps"] or answer["undecided"], fit.id
            for basis in answer["bases"]:
                start = basis["start_pressure"]
                assert start.get("min", start["value"]) <= start["value"] <= start.get("max", start["value"])
                assert 20 <= start["value"] * {"bar": 14.5038, "psi": 1}[start["unit"]] <= 250, (fit.id, start)
                found.add(basis["basis"])
            for row in answer["by_spacers"]:
                assert row["progression"]["value"] > 1
                travels = [point["travel"]["value"] for point in row["curve"]]
                assert travels == sorted(set(travels)), fit.id  # no travel is listed twice
            found |= {"coil"} if "coil" in answer else set()
    assert found >= {"published", "computed", "coil"}
