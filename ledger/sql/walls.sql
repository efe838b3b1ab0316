-- The walls: row-level security, keys that cannot leave a co-op or a maker, and least privilege.
--
-- Three roles (deploy/roles.sql): stillroom_owner owns the tables and migrates, stillroom is the
-- application, stillroom_ledger defines the functions that alone write the ledger.

create schema if not exists walls;

alter default privileges in schema public
  grant select, insert, update, delete on tables to stillroom;
grant select, insert, update, delete on all tables in schema public to stillroom;

-- Unset means no rows: after a transaction the setting is '', hence nullif.
create function walls.reads(setting text) returns text immutable language sql as $$
  select format('nullif(current_setting(%L, true), '''')::uuid', setting)
$$;

-- Primary key (coop_id, id), so that every key of a co-op starts with it.
create function walls.key(t text, private boolean) returns void language plpgsql as $$
begin
  execute format('alter table %I drop constraint %I, add primary key (coop_id, id)',
                 t, t || '_pkey');
  if private then
    execute format('alter table %I add constraint %I unique (coop_id, maker_id, id)',
                   t, t || '_of_maker');
  end if;
end $$;

-- Only rows that satisfy `seen` exist for the application; what it writes must satisfy `written`.
create function walls.wall(t text, seen text, written text) returns void language plpgsql as $$
begin
  execute format('alter table %I enable row level security, force row level security', t);
  execute format('create policy wall on %I to stillroom using (%s) with check (%s)',
                 t, seen, written);
  execute format('create policy definer on %I to stillroom_ledger using (coop_id = %s)',
                 t, walls.reads('app.coop'));
end $$;

create function walls.of_coop(t text) returns void language sql as $$
  select walls.wall(t, own, own) from (select 'coop_id = ' || walls.reads('app.coop')) s(own)
$$;

create function walls.of_maker(t text) returns void language sql as $$
  select walls.wall(t, own, own) from (
    select format('coop_id = %s and maker_id = %s',
                  walls.reads('app.coop'), walls.reads('app.maker'))) s(own)
$$;

-- A row belongs to a co-op that is there.
create function walls.in_coop(t text) returns void language plpgsql as $$
begin
  execute format('alter table %I add constraint %I'
                 ' foreign key (coop_id) references ledger_coop (id)', t, t || '_coop_fk');
end $$;

-- A reference that stays inside the co-op, or inside the maker where both sides are private.
create function walls.link(t text, col text, target text, within text default 'coop') returns void
language plpgsql as $$
declare prefix text := case within when 'maker' then 'coop_id, maker_id' else 'coop_id' end;
begin
  execute format('alter table %I add constraint %I foreign key (%s, %I) references %I (%s, id)',
                 t, t || '_' || col || '_fk', prefix, col, target, prefix);
end $$;

-- Rows are only ever added.
create function walls.only_added() returns trigger language plpgsql as $$
begin
  raise exception 'Rows of % are only added; correct a mistake with a new entry.', tg_table_name
    using errcode = '23514', constraint = 'rows_are_only_added';
end $$;

create function walls.append_only(t text) returns void language plpgsql as $$
begin
  execute format('create trigger only_added before update or delete on %I'
                 ' for each row execute function walls.only_added()', t);
  execute format('create trigger not_emptied before truncate on %I'
                 ' for each statement execute function walls.only_added()', t);
  execute format('revoke update, delete, truncate on %I from stillroom', t);
end $$;

-- A function that runs with the ledger's own rights, for the application alone to call.
create function walls.define(signature regprocedure) returns void language plpgsql as $$
begin
  execute format('alter function %s owner to stillroom_ledger', signature);
  execute format('revoke all on function %s from public', signature);
  execute format('grant execute on function %s to stillroom', signature);
end $$;

-- The co-op and its people.
alter table ledger_coop enable row level security, force row level security;
create policy wall on ledger_coop to stillroom
  using (id = nullif(current_setting('app.coop', true), '')::uuid);
-- Whoever signs in or sweeps must find the co-op first: through definer functions only.
create policy definer on ledger_coop to stillroom_ledger using (true);

-- Makers know of each other; each changes only its own row.
select walls.key('ledger_maker', false);
select walls.wall('ledger_maker', own, own) from (
  select format('coop_id = %s and id = %s',
                walls.reads('app.coop'), walls.reads('app.maker'))) s(own);
create policy known on ledger_maker for select to stillroom
  using (coop_id = nullif(current_setting('app.coop', true), '')::uuid);
select walls.in_coop('ledger_maker');
create policy sign_in on ledger_maker for select to stillroom_ledger using (true);

select walls.key('ledger_membership', true);
select walls.wall('ledger_membership', own, own) from (
  select format('coop_id = %s and (maker_id is null or maker_id = %s)',
                walls.reads('app.coop'), walls.reads('app.maker'))) s(own);
select walls.in_coop('ledger_membership');
select walls.link('ledger_membership', 'maker_id', 'ledger_maker');
create policy sign_in on ledger_membership for select to stillroom_ledger using (true);

-- The catalogue. What a maker makes is its own.
select walls.key('ledger_material', false);
select walls.wall('ledger_material', own, own) from (
  select format('coop_id = %s and (maker_id is null or maker_id = %s)',
                walls.reads('app.coop'), walls.reads('app.maker'))) s(own);
select walls.link('ledger_material', 'maker_id', 'ledger_maker');
select walls.key('ledger_supplier', false), walls.of_coop('ledger_supplier');
select walls.key('ledger_costpolicy', true), walls.of_maker('ledger_costpolicy'),
       walls.link('ledger_costpolicy', 'maker_id', 'ledger_maker');
select walls.in_coop('ledger_supplier');
select walls.in_coop('ledger_material');

-- Stock.
select walls.key('ledger_account', true), walls.of_maker('ledger_account'),
       walls.link('ledger_account', 'maker_id', 'ledger_maker');
select walls.key('ledger_lot', false),
       walls.link('ledger_lot', 'material_id', 'ledger_material'),
       walls.link('ledger_lot', 'origin_id', 'ledger_maker'),
       walls.link('ledger_lot', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_lot', 'made_in_id', 'ledger_account');
-- A lot is seen by whoever has it or had it.
select walls.wall('ledger_lot',
  format('coop_id = %1$s and exists (select from ledger_custody c where c.coop_id = %1$s'
         ' and c.maker_id = %2$s and c.lot_id = id)',
         walls.reads('app.coop'), walls.reads('app.maker')),
  format('coop_id = %s and origin_id = %s', walls.reads('app.coop'), walls.reads('app.maker')));
-- Whoever opens a lot has it; how anybody else comes to a lot is for the ledger's functions alone.
create function ledger_custody_of_own_lot() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  if not exists (select from ledger_lot l where l.coop_id = new.coop_id and l.id = new.lot_id
                   and l.origin_id = new.maker_id and l.material_id = new.material_id) then
    raise exception 'Custody of a lot comes from whoever has it.'
      using errcode = '23514', constraint = 'custody_of_own_lot';
  end if;
  return new;
end $$;
select walls.define('ledger_custody_of_own_lot()');
create trigger own_lot before insert or update of coop_id, maker_id, lot_id, material_id
  on ledger_custody for each row when (current_user = 'stillroom')
  execute function ledger_custody_of_own_lot();
select walls.of_maker('ledger_custody'),
       walls.link('ledger_custody', 'maker_id', 'ledger_maker'),
       walls.link('ledger_custody', 'lot_id', 'ledger_lot'),
       walls.link('ledger_custody', 'material_id', 'ledger_material');
select walls.key('ledger_decision', true), walls.of_maker('ledger_decision'),
       walls.link('ledger_decision', 'maker_id', 'ledger_maker'),
       walls.link('ledger_decision', 'lot_id', 'ledger_lot'),
       walls.append_only('ledger_decision');
select walls.of_maker('ledger_holding'),
       walls.link('ledger_holding', 'account_id', 'ledger_account', 'maker'),
       walls.link('ledger_holding', 'lot_id', 'ledger_lot'),
       walls.link('ledger_holding', 'material_id', 'ledger_material');
select walls.of_maker('ledger_pool'),
       walls.link('ledger_pool', 'maker_id', 'ledger_maker'),
       walls.link('ledger_pool', 'material_id', 'ledger_material');
select walls.key('ledger_layer', true), walls.of_maker('ledger_layer'),
       walls.link('ledger_layer', 'maker_id', 'ledger_maker'),
       walls.link('ledger_layer', 'material_id', 'ledger_material'),
       walls.link('ledger_layer', 'lot_id', 'ledger_lot');
select walls.of_maker('ledger_reservation'),
       walls.link('ledger_reservation', 'account_id', 'ledger_account', 'maker'),
       walls.link('ledger_reservation', 'lot_id', 'ledger_lot'),
       walls.link('ledger_reservation', 'material_id', 'ledger_material');

-- What a lot is stays; its density may be measured anew, it may be retested, and its holder
-- decides about it.
revoke update on ledger_lot, ledger_custody from stillroom;
grant update (density, density_at, density_entered, retest_on, version) on ledger_lot
  to stillroom;
grant update (status, since) on ledger_custody to stillroom;

-- The ledger. The application reads it; post_entry alone writes it.
select walls.key('ledger_entry', true), walls.of_maker('ledger_entry'),
       walls.link('ledger_entry', 'maker_id', 'ledger_maker'),
       walls.link('ledger_entry', 'reverses_id', 'ledger_entry', 'maker'),
       walls.append_only('ledger_entry');
-- The seal: postings may join an entry only in the transaction that wrote it.
alter table ledger_entry add column posted_in xid8 not null default pg_current_xact_id();
select walls.of_maker('ledger_posting'),
       walls.link('ledger_posting', 'entry_id', 'ledger_entry', 'maker'),
       walls.append_only('ledger_posting');
-- A posting with a lot must have its holding; one without must have its account.
alter table ledger_posting
  add constraint ledger_posting_holding_fk foreign key (coop_id, account_id, lot_id)
    references ledger_holding (coop_id, account_id, lot_id),
  add column value_account_id uuid
    generated always as (case when lot_id is null then account_id end) stored,
  add constraint ledger_posting_account_fk foreign key (coop_id, maker_id, value_account_id)
    references ledger_account (coop_id, maker_id, id);
select walls.of_maker('ledger_layerposting'),
       walls.link('ledger_layerposting', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('ledger_layerposting', 'layer_id', 'ledger_layer', 'maker'),
       walls.append_only('ledger_layerposting');
revoke insert, update, delete, truncate on
  ledger_entry, ledger_posting, ledger_layerposting, ledger_holding, ledger_pool, ledger_layer
  from stillroom;

-- Deliveries.
select walls.key('ledger_receipt', true), walls.of_maker('ledger_receipt'),
       walls.link('ledger_receipt', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('ledger_receipt', 'supplier_id', 'ledger_supplier'),
       walls.append_only('ledger_receipt');
select walls.key('ledger_receiptline', true), walls.of_maker('ledger_receiptline'),
       walls.link('ledger_receiptline', 'receipt_id', 'ledger_receipt', 'maker'),
       walls.link('ledger_receiptline', 'lot_id', 'ledger_lot'),
       walls.append_only('ledger_receiptline');
select walls.key('ledger_receiptcharge', true), walls.of_maker('ledger_receiptcharge'),
       walls.link('ledger_receiptcharge', 'receipt_id', 'ledger_receipt', 'maker'),
       walls.append_only('ledger_receiptcharge');
select walls.key('ledger_chargeshare', true), walls.of_maker('ledger_chargeshare'),
       walls.link('ledger_chargeshare', 'line_id', 'ledger_receiptline', 'maker'),
       walls.link('ledger_chargeshare', 'charge_id', 'ledger_receiptcharge', 'maker'),
       walls.append_only('ledger_chargeshare');

-- Watches, alerts and the outbox.
select walls.key('ledger_watch', true), walls.of_maker('ledger_watch'),
       walls.link('ledger_watch', 'maker_id', 'ledger_maker'),
       walls.link('ledger_watch', 'material_id', 'ledger_material');
select walls.key('ledger_alert', true), walls.of_maker('ledger_alert'),
       walls.link('ledger_alert', 'maker_id', 'ledger_maker'),
       walls.link('ledger_alert', 'material_id', 'ledger_material');
select walls.key('ledger_outbox', true), walls.of_maker('ledger_outbox'),
       walls.link('ledger_outbox', 'maker_id', 'ledger_maker');
create policy sweep on ledger_outbox to stillroom_ledger using (true);

-- What the ledger's functions may touch, and no more.
grant select on ledger_coop, ledger_maker, ledger_membership, ledger_material, ledger_costpolicy,
  ledger_account, ledger_lot, ledger_custody, ledger_watch to stillroom_ledger;
grant select, insert on ledger_entry, ledger_posting, ledger_layerposting to stillroom_ledger;
grant select, insert, update on ledger_holding, ledger_pool, ledger_layer, ledger_outbox
  to stillroom_ledger;
grant select, update, delete on ledger_reservation to stillroom_ledger;
