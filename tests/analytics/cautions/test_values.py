"""The numbers of the rules, once more: a changed one is a decision, with its source beside it."""

from studcurve.analytics.cautions import breeding, brucella, illness, records, samples, words
from studcurve.analytics.measures import semen


def test_the_numbers_of_the_rules_are_those_of_their_sources():
    # Hollett 2006; Guelph LabNote 61; a state authority; from memory.
    assert records.BRUCELLA_RETEST_DAYS == 365
    assert brucella.SECOND_TEST_DAYS == (4 * 7, 8 * 7)
    assert brucella.SEROCONVERSION_DAYS == 12 * 7
    # Soares 2009 with the epididymis; common practice; from memory.
    assert illness.RECENT_DAYS == 70
    assert illness.RECOVERY_DAYS == 14
    assert illness.FEVER_FROM_C == 39.5
    # Animals 2022, 12:2379 and 12:2545.
    assert (illness.IMPLANT_LOWERS_BY_DAYS, illness.IMPLANT_RETURNS_DAYS) == (77, 133)
    # Rules of this toolkit.
    assert samples.NO_SPERM_SHOWN_DAYS == 365
    assert (samples.FAR_BELOW_M, samples.FAR_BELOW_M_PER_KG) == (100.0, 5.0)
    assert (samples.FAR_BELOW_FORWARD_PCT, samples.FAR_BELOW_NORMAL_PCT) == (30.0, 40.0)
    assert (samples.N_FALLING, samples.FALLING_TO, semen.SQUARES_NL) == (4, 0.5, 20.0)
    # Cecere; The Kennel Club (UK), rule B22c; Thomassen 2006; from memory.
    assert breeding.FAILURES_TO_REFER == 2
    assert (breeding.GROWN_YEARS, breeding.SMALL_GROWN_YEARS, breeding.SMALL_BELOW_KG) == (
        2.0, 1.5, 10.0,
    )  # fmt: skip
    assert (breeding.OLD_AT_WHELPING_YEARS, breeding.GESTATION_DAYS) == (8.0, 63)
    assert breeding.LATE_FIRST_LITTER_YEARS == 6.0
    assert (breeding.EXAMINED_WITHIN_DAYS, breeding.BETWEEN_LITTERS_DAYS) == (90, 365)
    assert breeding.CESAREANS_TO_REFER == 1
    assert (words.CLOSE, words.LONG_STEM) == (0.78, 5)
