drop trigger check_parts on ledger_materialpart;
drop function ledger_check_parts();
