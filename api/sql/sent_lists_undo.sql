drop function api_forget_lists();
drop function api_list_goes_on() cascade;
