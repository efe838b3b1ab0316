drop function ledger_check_basis() cascade;
