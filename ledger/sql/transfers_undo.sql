drop function ledger_show_offered(uuid[]);
drop function ledger_close_transfer(uuid, text, text);
drop function ledger_lock_offer(uuid, boolean);
drop trigger transfers_stay on ledger_entry;
drop function ledger_transfers_stay();
drop trigger check_offer on ledger_transfer;
drop function ledger_check_offer();
revoke insert on ledger_account, ledger_custody, ledger_decision from stillroom_ledger;
revoke update on ledger_custody from stillroom_ledger;
