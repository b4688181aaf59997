import { render } from 'preact';
import { Desk } from './desk';

const page = document.getElementById('page');
if (page) {
  page.textContent = '';
  render(<Desk />, page);
}
