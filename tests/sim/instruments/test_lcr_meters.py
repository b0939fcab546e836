"""Both LCR meters: words, numbers, statuses, errors."""

from math import atan2, hypot, inf, pi

import pytest

from sim.bench import LCR, OPERATOR, BenchOptions
from sim.errors import BenchErrors, LcrError, NoiseLevels
from sim.lot import truth_near
from tests.sim.talk import Talk

RESISTANCE_OHM = 8.0
INDUCTANCE_H = 12e-6
UNIT = truth_near("U1", resistance_20_ohm=RESISTANCE_OHM, inductance_h=INDUCTANCE_H)
REACTANCE_OHM = 2 * pi * 1e5 * INDUCTANCE_H
SKIN = 1 + (1e5 / 4e6) ** 2


def _ready(
    *, model: str = "LCR-A", errors: BenchErrors | None = None, noise: NoiseLevels | None = None
) -> Talk:
    options = BenchOptions(
        lcr_model=model,
        ambient_degc=20.0,
        errors=errors or BenchErrors(),
        noise=noise or NoiseLevels(),
    )
    talk = Talk(options=options, units=[UNIT])
    talk.load("U1")
    talk.fixture("ROUTE LCR")
    return talk


def test_identity_has_four_fields() -> None:
    """`*IDN?` answers maker, model, serial, firmware."""

    assert ["INVENTED", "LCR-A", "LCRA001", "1.0"] == Talk().ask(LCR, "*IDN?").split(",")


@pytest.mark.parametrize(
    ("function", "expected"),
    [
        ("LSRS", (INDUCTANCE_H, RESISTANCE_OHM * SKIN)),
        ("LSQ", (INDUCTANCE_H, REACTANCE_OHM / (RESISTANCE_OHM * SKIN))),
        ("ZTR", (hypot(REACTANCE_OHM, 8.0 * SKIN), atan2(REACTANCE_OHM, 8.0 * SKIN))),
        ("RDC", (RESISTANCE_OHM, 0.0)),
    ],
)
def test_perfect_meter_reads_the_truth(function: str, expected: tuple[float, float]) -> None:
    """Each function gives the stated coil to six digits."""
    *values, status = _ready().measure_lcr(function)

    assert expected == pytest.approx(tuple(values), rel=1e-5)
    assert 0.0 == status


def test_parallel_pair_is_the_series_pair_in_other_terms() -> None:
    """1/Rp + 1/(j w Lp) is 1/(Rs + j w Ls)."""
    inductance_h, resistance_ohm, _ = _ready().measure_lcr("LPRP")
    admittance = 1 / resistance_ohm + 1 / (2j * pi * 1e5 * inductance_h)

    assert 1 / complex(RESISTANCE_OHM * SKIN, REACTANCE_OHM) == pytest.approx(admittance, rel=2e-5)


def test_status_last_writes_nr3_with_sign_and_six_digits() -> None:
    """A response looks like `+2.87654E-05,+7.81234E+00,+0`."""
    talk = _ready()
    talk.measure_lcr("LSRS")

    assert "+1.20000E-05,+8.00500E+00,+0" == talk.ask(LCR, "FETC?")


def test_status_first_writes_flag_resistance_and_inductance() -> None:
    """A response looks like `N;7.812340E+0;2.876540E-5`."""
    talk = _ready(model="LCR-B")
    talk.tell(LCR, "CONF:PAR RSLS", "SOUR:FREQ 1e5", "SENS:RANG 100")
    talk.ask(LCR, "READ?")

    assert "N;8.005000E+0;1.200000E-5" == talk.ask(LCR, "READ?")


@pytest.mark.parametrize(
    ("words", "expected"), [("RSLS", "O;9.9E37;9.9E37"), ("QLS", "O;9.9E37;9.9E37"), ("RDC", "O;9.9E37")]
)
def test_status_first_tells_overload_by_flag(words: str, expected: str) -> None:
    """A coil above 1.1 x range is overload, as bare 9.9E37."""
    talk = _ready(model="LCR-B")
    talk.tell(LCR, f"CONF:PAR {words}", "SENS:RANG 1")

    assert expected == talk.ask(LCR, "READ?")


def test_status_last_tells_overload_on_a_route_that_is_open() -> None:
    """What is not connected is beyond every range."""
    talk = _ready()
    talk.fixture("ROUTE OPEN")
    talk.tell(LCR, "TRIG")

    assert "+9.90000E+37,+9.90000E+37,+1" == talk.ask(LCR, "FETC?")


def test_bad_contact_is_no_number() -> None:
    """Without sense contact there is nothing to show: 9.91E37, status 2."""
    talk = Talk(
        units=[truth_near("U1"), type(UNIT)("U2", 8.0, 1e-5, UNIT.field_per_ampere, contact_end_ohm=inf)]
    )
    talk.load("U2")
    talk.fixture("ROUTE LCR")
    talk.tell(LCR, "TRIG")

    assert "+9.91000E+37,+9.91000E+37,+2" == talk.ask(LCR, "FETC?")


def test_fetch_without_measurement_is_status_4() -> None:
    """A change of setting makes the last measurement void."""
    talk = _ready()
    talk.measure_lcr("LSRS")
    talk.tell(LCR, "FREQ 1000")

    assert talk.ask(LCR, "FETC?").endswith(",+4")


def test_measurement_takes_20_ms_a_reading() -> None:
    """Averaging of 10 takes 200 ms until `FETC?` is answered."""
    talk = _ready()
    talk.tell(LCR, "APER 10", "TRIG")
    start_s = talk.clock.monotonic()
    talk.ask(LCR, "FETC?")

    assert 0.201 == pytest.approx(talk.clock.monotonic() - start_s, abs=1e-9)


def test_first_reading_after_a_range_change_is_off() -> None:
    """Who keeps it is 1 % wrong; the next one is right."""
    talk = _ready()
    talk.tell(LCR, "FUNC RDC", "RANG 10", "TRIG")
    first = float(talk.ask(LCR, "FETC?").split(",")[0])
    talk.tell(LCR, "TRIG")
    second = float(talk.ask(LCR, "FETC?").split(",")[0])

    assert (8.08, 8.0) == pytest.approx((first, second), rel=1e-6)


def test_overload_after_a_range_change_is_the_first_reading() -> None:
    """A meter that settles on an open route has settled: the coil's first reading is right."""
    talk = _ready()
    talk.fixture("ROUTE OPEN")
    talk.tell(LCR, "FUNC RDC", "RANG 10", "TRIG")
    shown = talk.ask(LCR, "FETC?")
    talk.fixture("ROUTE LCR")
    talk.tell(LCR, "TRIG")

    assert shown.endswith(",+1")
    assert 8.0 == pytest.approx(float(talk.ask(LCR, "FETC?").split(",")[0]), rel=1e-6)


def test_phase_error_moves_inductance_by_its_share_of_q() -> None:
    """L is off by gain + phase/Q: at Q = 0.94 a phase error of 1 mrad is 0.106 %."""
    talk = _ready(errors=BenchErrors(lcr={100.0: LcrError(phase_rad=1e-3)}))
    inductance_h = talk.measure_lcr("LSRS")[0]
    quality = REACTANCE_OHM / (RESISTANCE_OHM * SKIN)

    assert 1e-3 / quality == pytest.approx(inductance_h / INDUCTANCE_H - 1, rel=0.01)


def test_dc_error_belongs_to_its_range() -> None:
    """Gain and offset act in the range that they were stated for, and in no other."""
    talk = _ready(errors=BenchErrors(lcr={10.0: LcrError(dc_gain=0.01, dc_offset_ohm=0.02)}))

    assert (8.10, 8.00) == pytest.approx(
        (talk.measure_lcr("RDC", range_ohm=10.0)[0], talk.measure_lcr("RDC", range_ohm=100.0)[0]), rel=1e-6
    )


def test_short_correction_takes_the_leads_away() -> None:
    """With the shorting piece in the nest the leads' resistance and inductance are measured and removed."""
    talk = _ready(errors=BenchErrors(lead_resistance_ohm=0.1, lead_inductance_h=1e-6))
    before = talk.measure_lcr("LSRS")
    talk.ask(OPERATOR, "UNLOAD")
    talk.clock.sleep(2.0)
    talk.load("SHORT")
    talk.tell(LCR, "CORR:SHOR")
    talk.clock.sleep(3.0)
    talk.ask(OPERATOR, "UNLOAD")
    talk.clock.sleep(2.0)
    talk.load("U1")
    after = talk.measure_lcr("LSRS")

    assert (13e-6, 8.105) == pytest.approx(tuple(before[:2]), rel=1e-4)
    assert (12e-6, 8.005) == pytest.approx(tuple(after[:2]), rel=1e-4)


def test_open_correction_takes_the_stray_capacitance_away() -> None:
    """With the nest empty the stray capacitance is measured and removed; with a coil in it is an error."""
    talk = _ready(errors=BenchErrors(stray_capacitance_f=1e-9))
    winding = complex(RESISTANCE_OHM * SKIN, REACTANCE_OHM)
    with_stray = winding / (1 + winding * 2j * pi * 1e5 * 1e-9)
    before = talk.measure_lcr("LSRS")[0]
    talk.tell(LCR, "CORR:OPEN")
    talk.clock.sleep(3.0)
    refused = talk.ask(LCR, "SYST:ERR?")
    talk.ask(OPERATOR, "UNLOAD")
    talk.clock.sleep(2.0)
    talk.tell(LCR, "CORR:OPEN")
    talk.clock.sleep(3.0)
    talk.load("U1")

    assert with_stray.imag / (2 * pi * 1e5) == pytest.approx(before, rel=1e-5)
    assert abs(before / INDUCTANCE_H - 1) > 5e-4
    assert '-222,"Data out of range"' == refused
    assert 12e-6 == pytest.approx(talk.measure_lcr("LSRS")[0], rel=1e-5)


def test_averaging_lowers_the_noise() -> None:
    """The spread of 60 readings falls with the root of the readings averaged."""
    talk = _ready(noise=NoiseLevels(lcr_dc=1e-3))
    talk.measure_lcr("RDC")

    def spread_ohm() -> float:
        readings = []
        for _ in range(60):
            talk.tell(LCR, "TRIG")
            readings.append(float(talk.ask(LCR, "FETC?").split(",")[0]))
        mean_ohm = sum(readings) / len(readings)
        return (sum((x - mean_ohm) ** 2 for x in readings) / len(readings)) ** 0.5

    single = spread_ohm()
    talk.tell(LCR, "APER 16")

    assert 4.0 == pytest.approx(single / spread_ohm(), rel=0.5)


def test_autorange_finds_a_range_that_fits() -> None:
    """With autorange on a coil is never overload."""
    talk = _ready()
    talk.tell(LCR, "RANG 1", "RANG:AUTO ON", "FUNC RDC", "TRIG")

    assert "+8.00000E+00,+0.00000E+00,+0" == talk.ask(LCR, "FETC?")


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        ("NONSENSE", '-113,"Undefined header"'),
        ("FREQ 1", '-222,"Data out of range"'),
        ("FREQ abc", '-104,"Data type error"'),
        ("FREQ nan", '-222,"Data out of range"'),
        ("RANG 50", '-222,"Data out of range"'),
        ("RANG:AUTO PERHAPS", '-104,"Data type error"'),
        ("FUNC CPRP", '-104,"Data type error"'),
    ],
)
def test_message_in_error_goes_to_the_queue(message: str, expected: str) -> None:
    """It is not carried out, and the queue has one entry for it."""
    talk = Talk()
    talk.tell(LCR, message)

    assert expected == talk.ask(LCR, "SYST:ERR?")
    assert '0,"No error"' == talk.ask(LCR, "SYST:ERR?")


def test_error_queue_overflows_with_its_own_entry() -> None:
    """The last of 16 places says that more were lost."""
    talk = Talk()
    talk.tell(LCR, *["NONSENSE"] * 20)
    entries = [talk.ask(LCR, "SYST:ERR?") for _ in range(17)]

    assert ['-350,"Queue overflow"', '0,"No error"'] == entries[15:]


def test_settings_are_read_back() -> None:
    """Frequency and level answer as they were set, in each dialect's own form."""
    first, second = Talk(), Talk(options=BenchOptions(lcr_model="LCR-B"))
    first.tell(LCR, "FREQ 1e5", "VOLT 0.5")
    second.tell(LCR, "SOUR:FREQ 1e5", "SOUR:LEV 0.5")

    assert ("+1.00000E+05", "+5.00000E-01") == (first.ask(LCR, "FREQ?"), first.ask(LCR, "VOLT?"))
    assert ("1.000000E+5", "5.000000E-1") == (second.ask(LCR, "SOUR:FREQ?"), second.ask(LCR, "SOUR:LEV?"))
