"""A dozen engines of Holm Utility Helicopters, each at another stage. All invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from spoolwright.bootstrap.demo.findings import finds_stone_damage
from spoolwright.bootstrap.demo.lives import enter_lives, review_lives
from spoolwright.bootstrap.demo.parts import kits_and_fits, orders_a_seal, sends_the_liner_out
from spoolwright.bootstrap.demo.release import prints_pack, signs_release
from spoolwright.bootstrap.demo.runs import Bench, fly, judge, reopen
from spoolwright.bootstrap.demo.story import Story
from spoolwright.crafts.visit.model import Stage
from spoolwright.crafts.visit.parts import Counts

WORN = {"turbine_tip_clearance": 2.5}
STEADY = "Steady at every point, temperatures where I expect them."


@dataclass(frozen=True)
class Planned:
    """An engine of the demonstration: its numbers, when it came, what happened to it."""

    number: str
    serial: str
    days_ago: int
    hours: float
    starts: int
    tell: Callable[[Story, Bench], None]

    @property
    def counts(self) -> Counts:
        """As the papers say."""
        return Counts(hours_since_new=self.hours, starts_since_new=self.starts)


def just_arrived(story: Story, bench: Bench) -> None:
    story.arrives("scheduled, 3,000 h inspection", promised_days=28, word="inspected")


def papers_with_a_gap(story: Story, bench: Bench) -> None:
    story.arrives("low power on a hot day", promised_days=26)
    story.is_received()
    enter_lives(story, gap="impeller")
    story.is_accepted()
    story.stands_at(Stage.RECORDS, "a missing page of the impeller's card")


def torn_down(story: Story, bench: Bench) -> None:
    story.arrives("compressor rubbing heard at shut-down", promised_days=24)
    _through_records(story)
    story.comes_to(days_ago=1)
    story.stands_at(Stage.TEARDOWN)
    ref = story.issues("teardown_compressor", "rubbing heard at shut-down")
    story.works(ref, steps=2)
    story.works(story.issues("inspection_gearbox", "chip found in the gearbox plug"))


def interrupted(story: Story, bench: Bench) -> None:
    story.arrives("high temperature margin lost", promised_days=20)
    _through_records(story)
    story.comes_to(days_ago=1)
    story.stands_at(Stage.TEARDOWN)
    ref = story.issues("teardown_hot_section", "temperature margin lost in service")
    story.works(ref, steps=4)
    story.takes(ref, "ada")
    story.interrupts(ref, "ada", "fuel nozzles 1 to 5 are out, 6 to 12 still in", "called away to the cell")


def inspected(story: Story, bench: Bench) -> None:
    story.arrives("hard landing", promised_days=22)
    _through_records(story)
    story.works(story.issues("teardown_hot_section", "inspection after a hard landing"))
    story.comes_to(days_ago=0)
    story.stands_at(Stage.INSPECTION)
    finds_stone_damage(story)
    story.works(story.issues("inspection_hot_section", "teardown is done"), steps=2)


def sent_out(story: Story, bench: Bench) -> None:
    story.arrives("liner cracked, seen by borescope", promised_days=30)
    _opened_hot_section(story)
    story.comes_to(days_ago=8)
    story.stands_at(Stage.REPAIR, "the liner from the welder")
    sends_the_liner_out(story)


def short_of_a_part(story: Story, bench: Bench) -> None:
    story.arrives("oil at the rear bearing", promised_days=26)
    _opened_hot_section(story)
    story.comes_to(days_ago=3)
    story.stands_at(Stage.BUILD, "a seal ring")
    orders_a_seal(story)


def in_build(story: Story, bench: Bench) -> None:
    story.arrives("scheduled hot section inspection", promised_days=30, word="inspected")
    _opened_hot_section(story)
    story.comes_to(days_ago=0)
    story.stands_at(Stage.BUILD)
    story.works(story.issues("build_hot_section", "inspection is closed"), steps=4)


def failed_its_run(story: Story, bench: Bench) -> None:
    story.arrives("low power", promised_days=29)
    _built(story)
    story.comes_to(days_ago=1)
    bench.runs(story, seed=38, faults=WORN)
    bench.assesses(story)
    judge(story, "does not meet", "Power is short at take-off, temperature high.", "rejected", "low power")
    bench.diagnoses(story)
    story.stands_at(Stage.TEST, "the lead: which module to open")


def opened_again(story: Story, bench: Bench) -> None:
    story.arrives("low power", promised_days=25)
    _built(story)
    story.comes_to(days_ago=2)
    bench.runs(story, seed=41, faults=WORN)
    bench.assesses(story)
    judge(story, "does not meet", "Temperature above its limit at take-off.", "rejected", "high temperature")
    bench.diagnoses(story)
    reopen(story, "hot_section", "the diagnosis speaks for turbine tip clearance")
    story.works(story.issues("teardown_hot_section", "opened again after the run"), steps=3)


def ready_for_release(story: Story, bench: Bench) -> None:
    story.arrives("scheduled hot section inspection", promised_days=31)
    _tested(story, bench, seed=12)
    story.comes_to(days_ago=1)
    story.stands_at(Stage.RELEASE, "certifying staff")
    prints_pack(story, f"{story.visit}-1")


def on_the_aircraft(story: Story, bench: Bench) -> None:
    story.arrives("scheduled hot section inspection", promised_days=30)
    _tested(story, bench, seed=9)
    story.stands_at(Stage.RELEASE)
    prints_pack(story, f"{story.visit}-1")
    signs_release(story, f"{story.visit}-1")
    story.stands_at(Stage.INSTALLED)
    fly(story, bench, seed=9, hours=[2.0, 28.0, 55.0, 83.0, 110.0, 141.0, 170.0])


def _through_records(story: Story) -> None:
    story.is_received()
    enter_lives(story)
    story.is_accepted()
    story.stands_at(Stage.RECORDS)
    review_lives(story)


def _opened_hot_section(story: Story) -> None:
    _through_records(story)
    story.stands_at(Stage.TEARDOWN)
    story.works(story.issues("teardown_hot_section", "as the work scope says"))
    story.stands_at(Stage.INSPECTION)
    story.works(story.issues("inspection_hot_section", "teardown is done"))


def _built(story: Story) -> None:
    _opened_hot_section(story)
    story.stands_at(Stage.BUILD)
    kits_and_fits(story, "hot_section")
    story.works(story.issues("build_hot_section", "inspection is closed"))
    story.works(story.issues("rig_for_test", "the build is closed"))
    story.stands_at(Stage.TEST)


def _tested(story: Story, bench: Bench, seed: int) -> None:
    _built(story)
    bench.runs(story, seed=seed)
    bench.assesses(story)
    judge(story, "meets", STEADY, "accepted")
    story.works(story.issues("after_run", "the run is accepted"))
    story.settles_what_is_owed()


ENGINES = (
    Planned("FW-26-031", "H4412", 1, 2981.4, 2240, just_arrived),
    Planned("FW-26-030", "H4377", 4, 3412.9, 2611, papers_with_a_gap),
    Planned("FW-26-029", "H4391", 6, 2204.1, 1702, torn_down),
    Planned("FW-26-028", "H4420", 9, 1877.5, 1433, interrupted),
    Planned("FW-26-027", "H4366", 11, 2655.0, 2019, inspected),
    Planned("FW-26-025", "H4402", 19, 2310.7, 1811, sent_out),
    Planned("FW-26-024", "H4385", 21, 1998.2, 1540, short_of_a_part),
    Planned("FW-26-023", "H4358", 22, 3120.6, 2390, in_build),
    Planned("FW-26-021", "H4399", 25, 2744.3, 2120, failed_its_run),
    Planned("FW-26-020", "H4371", 27, 2488.8, 1905, opened_again),
    Planned("FW-26-019", "H4408", 29, 2150.0, 1660, ready_for_release),
    Planned("FW-26-007", "H4344", 120, 1633.2, 1255, on_the_aircraft),
)
