drop function ledger_check_breaks() cascade;
