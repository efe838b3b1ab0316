drop function ledger_show_lots(uuid[], boolean, int);
drop function ledger_shown(numeric, int);
