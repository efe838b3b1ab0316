drop function ledger_choose_cost_formula(uuid, uuid, text, timestamptz, int, text);
