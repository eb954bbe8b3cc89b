// By day, by night, or as the device has it: the one switch of every page.

export function useForm(form) {
  if (form === "") delete document.documentElement.dataset.form;
  else document.documentElement.dataset.form = form;
}
