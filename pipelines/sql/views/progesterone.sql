-- Title:   Progesterone readings in one unit
-- Grain:   hormone_test_id
-- Reads:   hormone_test, cycle
-- Notes:   1 ng/mL = 3.1801 nmol/L (molar mass 314.46 g/mol). A reading without a unit is left out;
--          a word is left out; ends of a censored reading stay open.
SELECT
    hormone_test.hormone_test_id,
    hormone_test.cycle_id,
    cycle.bitch_id,
    hormone_test.sampled.earliest AS sampled_earliest,
    hormone_test.sampled.latest AS sampled_latest,
    hormone_test.result.low / nanograms.per_unit AS progesterone_ng_per_ml_low,
    hormone_test.result.high / nanograms.per_unit AS progesterone_ng_per_ml_high,
    CASE WHEN isfinite(hormone_test.result.high) AND hormone_test.result.kind <> 'below'
        THEN (hormone_test.result.low + hormone_test.result.high) / 2 / nanograms.per_unit
    END AS progesterone_ng_per_ml,
    hormone_test.laboratory,
    hormone_test.unit AS unit_as_reported,
    hormone_test.result.text AS value_as_reported
FROM hormone_test
JOIN cycle USING (cycle_id)
JOIN (VALUES ('ng/mL', 1.0), ('nmol/L', 3.1801)) AS nanograms (unit, per_unit)
    ON nanograms.unit = hormone_test.unit
WHERE hormone_test.hormone = 'progesterone' AND hormone_test.result.kind <> 'word'
