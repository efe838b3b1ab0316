drop function if exists ledger_offered_cost(uuid);
