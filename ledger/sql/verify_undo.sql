drop function ledger_coops();
drop function ledger_disagreements();
