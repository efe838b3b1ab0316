drop function ledger_shown(numeric, int);
