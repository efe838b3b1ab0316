drop function ledger_round_trouble(uuid, int);
