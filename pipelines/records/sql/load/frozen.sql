-- Rows of the Frozen stock sheet.
INSERT INTO frozen_lot
SELECT
    entry_id, entry_id, dog_id, frozen_on, lot, TRY_CAST(n_straws AS INTEGER), motile_per_straw_m,
    post_thaw_progressive_motility_pct, TRY_CAST(n_straws_per_dose AS INTEGER), stored_at, notes
FROM accepted;
