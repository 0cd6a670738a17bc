-- Title:   Every price, with the days on which it holds
-- Grain:   price_id
-- Reads:   price, doubtful_entries
-- Notes:   Of several prices of one thing that hold on a day, the one that began last counts; that is
--          decided where a day is asked about. Doubtful lines are left out.
SELECT price_id, what, price, currency, valid_from, valid_until
FROM price
ANTI JOIN doubtful_entries USING (entry_id)
