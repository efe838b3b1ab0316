drop function ledger_check_count() cascade;
drop function ledger_check_count_line() cascade;
