-- Rows of the Prices sheet.
INSERT INTO price
SELECT entry_id, entry_id, what, price, currency, valid_from, valid_until, notes FROM accepted;
