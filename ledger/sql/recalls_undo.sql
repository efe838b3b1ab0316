drop function ledger_recall_answers(uuid);
drop function ledger_check_contact() cascade;
drop function ledger_check_recall() cascade;
drop function ledger_check_notice() cascade;
