drop trigger check_closing on ledger_closing;
drop function ledger_check_closing();
