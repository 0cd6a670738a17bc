-- Title:   Progesterone readings in one unit
-- Grain:   hormone_test_id
-- Reads:   hormone_test, cycles
-- Notes:   1 ng/mL = 3.1801 nmol/L (molar mass 314.46 g/mol). A reading without a unit is left out,
--          and a word; a censored reading has its ends and no middle.
--          Those of a doubtful heat are left out.
SELECT
    hormone_test.hormone_test_id,
    hormone_test.cycle_id,
    cycles.bitch_id,
    hormone_test.sampled.earliest AS sampled_earliest,
    hormone_test.sampled.latest AS sampled_latest,
    hormone_test.result.low / nanogram.per_unit AS progesterone_ng_per_ml_low,
    hormone_test.result.high / nanogram.per_unit AS progesterone_ng_per_ml_high,
    CASE WHEN hormone_test.result.kind NOT IN ('above', 'below')
        THEN middle(hormone_test.result) / nanogram.per_unit END AS progesterone_ng_per_ml,
    hormone_test.laboratory,
    hormone_test.unit AS unit_as_reported,
    reading_text(hormone_test.result) AS value_as_reported
FROM hormone_test
JOIN cycles USING (cycle_id)
JOIN (VALUES ('ng/mL', 1.0), ('nmol/L', 3.1801)) AS nanogram (unit, per_unit)
    ON nanogram.unit = hormone_test.unit
WHERE hormone_test.result.kind <> 'word'
